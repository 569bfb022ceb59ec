"""The kiosk's hand: a page in any telephone's browser, with the same desk behind it as the window.

    telephone ──https──▶ serving (a process of its own) ──pipe──▶ link ──▶ the desk's thread
                         limits, pictures, reader                 asks, said

Shows and forwards, decides nothing, and knows nothing of Kivy.  `serving/` is what the network touches: it holds no
ledger and no desk, is given less of the processor than the window, and can be killed without harm.
"""
