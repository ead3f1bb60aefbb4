//! The reader of scans along this path, held to the claims that `xtask fuzz` holds it to.
#![no_main]

#[path = "../../xtask/src/fuzz/scan_claims.rs"]
#[expect(dead_code, reason = "each target holds to its own claims only")]
mod scan_claims;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    scan_claims::ScanTarget::MakersRaw.hold(bytes);
});
