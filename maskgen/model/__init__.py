"""The plain values everything else works on: frozen, without input, output or clock."""
