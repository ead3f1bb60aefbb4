//! The facts of a test: plain validated data.
