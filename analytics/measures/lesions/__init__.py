"""Questions about lesions: how common, how often new, where, what they cost."""
