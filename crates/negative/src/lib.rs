//! Scans to densities: decoding, linear light, calibration, honesty checks, patches.
