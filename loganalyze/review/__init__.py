"""A reviewer's decisions about the exceedances of a store."""
