"""winchsim: a time-step simulator of a motor-driven winch lift."""

__version__ = "0.1.0"
