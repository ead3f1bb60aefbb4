//! The test folder: reading, checking and writing its files.
