//! Density, step tablets, the characteristic curve, speed points and gradients.
