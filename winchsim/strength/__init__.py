"""Demand, strength and factor of every link that can break."""
