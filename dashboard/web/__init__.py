"""The Dash app and its server."""
