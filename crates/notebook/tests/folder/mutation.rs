use crate::sample;
use notebook::{read_curve_csv, read_patches_csv, read_tablet_csv, read_test_folder};
use proptest::prelude::*;

/// One change of a text: what is at a place is cut out and replaced.
fn changed(text: &str, changes: &[(usize, usize, String)]) -> Vec<u8> {
    let mut bytes = text.as_bytes().to_vec();
    for (at, length, with) in changes {
        let from = at % (bytes.len() + 1);
        let to = (from + length).min(bytes.len());
        bytes.splice(from..to, with.bytes());
    }
    bytes
}

fn changes() -> impl Strategy<Value = Vec<(usize, usize, String)>> {
    let with = prop_oneof![
        Just(String::new()),
        Just("nan".to_owned()),
        Just("-1".to_owned()),
        Just("4294967295".to_owned()),
        Just("1e308".to_owned()),
        Just("1/0".to_owned()),
        Just("[[".to_owned()),
        Just("{".to_owned()),
        Just("\"".to_owned()),
        Just("\n".to_owned()),
        Just("../".to_owned()),
        "[\\PC\n]{0,8}",
    ];
    prop::collection::vec((any::<usize>(), 0_usize..12, with), 1..4)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]

    /// Whatever becomes of the files, reading them ends in a test or in
    /// problems that can be shown, never in a panic.
    #[test]
    fn a_damaged_folder_never_panics(
        toml in changes(),
        patches in changes(),
        readings in changes(),
        which in 0..8_u8,
    ) {
        let dir = tempfile::tempdir()?;
        sample::write(dir.path());
        let write = |bit: u8, name: &str, bytes: Vec<u8>| {
            if which & bit == 0 { std::fs::write(dir.path().join(name), bytes) } else { Ok(()) }
        };
        write(1, "test.toml", changed(&sample::test_toml(), &toml))?;
        write(2, "patches.csv", changed(&sample::patches_csv(), &patches))?;
        write(4, "readings.csv", changed(&sample::readings_csv(), &readings))?;
        if let Err(error) = read_test_folder(dir.path()) {
            prop_assert!(!error.problems.is_empty());
            prop_assert!(error.problems.len() <= 20);
            for problem in &error.problems {
                prop_assert!(!problem.seen.is_empty());
                prop_assert!(!problem.expected.is_empty(), "{problem}");
                prop_assert!(!problem.remedy.is_empty(), "{problem}");
            }
        }
    }

    #[test]
    fn a_damaged_file_never_panics(change in changes()) {
        let dir = tempfile::tempdir()?;
        let path = dir.path().join("f.csv");
        for text in ["log_h,density\n-1,0.1\n0,0.5\n", "step,density\n1,0.05\n2,0.2\n",
            "name,x_px,y_px,width_px,height_px\na,1,2,3,4\n"] {
            std::fs::write(&path, changed(text, &change))?;
            let shown = [
                read_curve_csv(&path).err().map(|e| e.to_string()),
                read_tablet_csv(&path).err().map(|e| e.to_string()),
                read_patches_csv(&path).err().map(|e| e.to_string()),
            ];
            prop_assert!(shown.iter().flatten().all(|text| text.contains("f.csv")));
        }
    }
}
