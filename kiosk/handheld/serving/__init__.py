"""What the network touches: a process of its own that holds no ledger, no desk and no screen.

It keeps the limits, unpacks and reads pictures, and hands everything else through the pipe to the kiosk (`link`).
"""
