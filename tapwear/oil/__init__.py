"""Oil: what a compartment's dissolved gas says about the mechanism, and whether an overhaul must come early."""
