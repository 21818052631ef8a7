"""Many candidates against one reference: each pair once, resumed, on one machine or several."""
