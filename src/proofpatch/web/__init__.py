"""The shop on screen: pages over the same records as the command line."""
