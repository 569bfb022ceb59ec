"""Files in and out: CSV, tool assets for other systems, the control's list, reports."""
