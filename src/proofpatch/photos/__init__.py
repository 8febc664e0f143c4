"""Test patches seen in a photo: the printed frame, finding it, grading what its windows show, before and after."""
