"""Damaged files by the thousand: what no one writes on purpose must end in an error of ours."""
