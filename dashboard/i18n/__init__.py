"""Words in the reader's language: translation, numbers, dates."""
