"""How it is shown: on the screen, as pictures, as JSON, as a trace, as frames."""
