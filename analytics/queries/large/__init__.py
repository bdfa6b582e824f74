"""Faster ways to count many farms at once; only a registry needs them."""
