"""Grammars of what stands in a cell: findings, severities, zones, claws, feet and scores."""
