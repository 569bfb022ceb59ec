"""Light to text: cameras, pictures and scanners that type."""
