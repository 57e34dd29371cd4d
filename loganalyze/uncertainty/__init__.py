"""How sure: error budget, propagation, probability and the decision rule."""
