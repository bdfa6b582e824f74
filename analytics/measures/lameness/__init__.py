"""Questions about lameness over time; most can be asked of a lesion too."""
