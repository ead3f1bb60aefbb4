//! Use cases: joins folder, files, measuring, estimate and report.
