//! The readers of this kind of file, held to the claims that `xtask fuzz` holds them to.
#![no_main]

#[path = "../../xtask/src/fuzz/claims.rs"]
#[expect(dead_code, reason = "each target holds to its own claims only")]
mod claims;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    claims::Target::Table.hold(bytes);
});
