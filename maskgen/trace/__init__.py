"""From a label map to shared boundaries, placed below the pixel, as lines and cubics."""
