"""Pictures: data in, Axes out. Drawing needs matplotlib, which is loaded only when one is drawn."""
