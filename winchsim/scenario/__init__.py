"""From a scenario file to inputs, and back; the test sheet; the tables that come with winchsim."""
