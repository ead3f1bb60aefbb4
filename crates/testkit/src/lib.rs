//! Negatives and tests made from known truth, for tests and the worked example.
