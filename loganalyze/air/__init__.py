"""The air: the standard atmosphere, airspeeds, and what probes make of them (NumPy, SI).

Public, with all its modules.
"""
