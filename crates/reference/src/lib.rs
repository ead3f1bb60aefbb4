//! Published spectral tables, each with its origin.
//!
//! A pure room: the tables are part of the program, no file is opened. It holds
//! numbers and where they come from, and computes nothing. `spectra` never
//! looks in here; a caller takes a table from here and hands it in.
