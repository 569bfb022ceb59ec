"""What fits: cutter in holder, assembly in magazine, setup in machine; its lists and plans."""
