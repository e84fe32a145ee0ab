"""What people look at: the report, the bench sheet, the proof."""
