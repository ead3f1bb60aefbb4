use notebook::{read_curve_csv, read_patches_csv, read_tablet_csv};
use record::{Outline, PatchRole};
use std::path::PathBuf;

fn file(text: &str) -> (tempfile::TempDir, PathBuf) {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("f.csv");
    std::fs::write(&path, text).unwrap();
    (dir, path)
}

#[test]
fn a_curve_is_read_whatever_the_case_of_its_columns() {
    let (_dir, path) =
        file("\u{FEFF}Log_H,DENSITY,density_sd,note\r\n-1.5,0.12,,x\r\n-1,0.2,0.01,\r\n");
    let rows = read_curve_csv(&path).unwrap();
    assert_eq!(rows.rows.len(), 2);
    assert_eq!(rows.rows[0].log_h.to_log10(), -1.5);
    assert_eq!(rows.rows[0].density_sd, None);
    assert_eq!(rows.rows[1].density_sd, Some(0.01));
    assert_eq!(rows.warnings.len(), 1);
    assert!(
        rows.warnings[0].ends_with("the column `note` is not used"),
        "{:?}",
        rows.warnings
    );
}

#[test]
fn tablets_and_patches_are_read() {
    let (_dir, path) = file("step,density\n1,0.05\n2,0.20\n");
    assert_eq!(
        read_tablet_csv(&path).unwrap().rows[1].density.to_density(),
        0.2
    );
    let (_dir, path) = file("name,x_px,y_px,width_px,height_px,role\na,1,2,3,4,tablet_step:3\n");
    let rows = read_patches_csv(&path).unwrap().rows;
    assert_eq!(rows[0].role, Some(PatchRole::TabletStep(3)));
    let outline = Outline::Rectangle {
        x: 1,
        y: 2,
        width: 3,
        height: 4,
    };
    assert_eq!(rows[0].outline, outline);
}

#[test]
fn every_fault_is_named_with_line_and_text() {
    type Read = fn(&std::path::Path) -> Result<(), notebook::FolderError>;
    let curve: Read = |path| read_curve_csv(path).map(|_| ());
    let tablet: Read = |path| read_tablet_csv(path).map(|_| ());
    let patches: Read = |path| read_patches_csv(path).map(|_| ());
    let cases: [(Read, &str, &str); 11] = [
        (
            curve,
            "log_h,density\n-1,40\n",
            "line 2, column 4: `density` is \"40\"\n  expected: a density between -0.2 and 10",
        ),
        (
            curve,
            "log_h,density\nnan,0.1\n",
            "line 2, column 1: `log_h` is \"nan\"",
        ),
        (
            curve,
            "log_h,density\n\"-1,5\",0.1\n",
            "write decimal numbers with a point",
        ),
        (
            curve,
            "log_h,density\n-1,\n",
            "line 2, column 4: `density` is empty",
        ),
        (
            curve,
            "log_h\n1\n",
            "line 1: the column `density` is missing",
        ),
        (curve, "log_h;density\n-1,5;0,1\n", "separated by ';'"),
        (curve, "log_h,density\n", "has no rows"),
        (
            tablet,
            "step,density\n1,0.05\n3,0.2\n",
            "line 3, column 1: `step` is \"3\"\n  expected: 2, the next step in order",
        ),
        (
            patches,
            "name,x_px,y_px,width_px,height_px\na,1,2,3,0\n",
            "line 2, column 9: `height_px` is \"0\"",
        ),
        (
            patches,
            "name,x_px,y_px,width_px,height_px\na,1,2,3,\n",
            "`height_px` is empty",
        ),
        (
            patches,
            "name,region\na,1\na,2\n",
            "line 3, column 1: `name` is \"a\"\n  expected: a name that no other patch has",
        ),
    ];
    for (read, text, expected) in cases {
        let (_dir, path) = file(text);
        let error = read(&path).unwrap_err().to_string();
        assert!(error.contains(expected), "{text:?}:\n{error}");
    }
}
