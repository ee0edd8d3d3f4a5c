"""The terminal: a calm full screen with one input line, or plain lines where there is no terminal for it."""
