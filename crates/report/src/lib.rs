//! Findings and figures to a self-contained HTML report.
