"""The way to the other kiosks of a shop: its server, the lines that go there and come from there, and who is heard."""
