"""How much of it there is: area and zones from shapes, an outline in a photo, or a mesh."""
