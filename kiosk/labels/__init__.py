"""Text to ink: label layout, drawing and print queues."""
