"""Questions about horn: its state, growth and shedding."""
