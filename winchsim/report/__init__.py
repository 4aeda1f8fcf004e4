"""Everything that leaves winchsim: text, data, files and figures."""
