"""The day itself: what is looked at first, in what order and how the hand moves, when to stop, how long it takes."""
