//! Findings to SVG figures.
