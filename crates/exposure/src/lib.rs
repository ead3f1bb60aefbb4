//! Exposure: meter equations, series, factors, bellows, reciprocity, and the chain that joins them.
