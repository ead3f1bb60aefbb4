//! Honesty checks.
