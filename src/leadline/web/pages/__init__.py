"""Pages, named as the menu is."""
