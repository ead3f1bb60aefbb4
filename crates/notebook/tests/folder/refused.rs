//! Folders that must be refused, each with its message and its place.

use crate::sample;
use notebook::{FolderError, Problem, read_test_folder};
use std::path::Path;

struct Case {
    /// File that is changed.
    file: &'static str,
    /// Text that is replaced, once.
    from: &'static str,
    /// What it is replaced by.
    to: &'static str,
    /// Text in the changed file at which the (first) problem must be placed;
    /// empty for a problem that has no line.
    at: &'static str,
    /// Part of what was seen.
    seen: &'static str,
    /// Part of what was expected.
    expected: &'static str,
    /// Part of what to do.
    remedy: &'static str,
}

fn toml(
    from: &'static str,
    to: &'static str,
    at: &'static str,
    seen: &'static str,
    expected: &'static str,
    remedy: &'static str,
) -> Case {
    Case {
        file: "test.toml",
        from,
        to,
        at,
        seen,
        expected,
        remedy,
    }
}

fn patches(
    from: &'static str,
    to: &'static str,
    at: &'static str,
    seen: &'static str,
    expected: &'static str,
    remedy: &'static str,
) -> Case {
    Case {
        file: "patches.csv",
        ..toml(from, to, at, seen, expected, remedy)
    }
}

fn readings(
    from: &'static str,
    to: &'static str,
    at: &'static str,
    seen: &'static str,
    expected: &'static str,
    remedy: &'static str,
) -> Case {
    Case {
        file: "readings.csv",
        ..toml(from, to, at, seen, expected, remedy)
    }
}

fn refused(dir: &Path) -> FolderError {
    match read_test_folder(dir) {
        Ok(_) => panic!("the folder was read"),
        Err(error) => error,
    }
}

fn first_problem(case: &Case) -> Problem {
    let dir = tempfile::tempdir().unwrap();
    sample::write(dir.path());
    let path = dir.path().join(case.file);
    let text = std::fs::read_to_string(&path).unwrap();
    assert!(
        text.contains(case.from),
        "{:?} is not in the example",
        case.from
    );
    let text = text.replacen(case.from, case.to, 1);
    std::fs::write(&path, &text).unwrap();
    let problem = refused(dir.path()).problems.remove(0);
    let place = (!case.at.is_empty()).then(|| {
        let at = text
            .find(case.at)
            .unwrap_or_else(|| panic!("{:?}", case.at));
        let before = &text[..at];
        let line_start = before.rfind('\n').map_or(0, |end| end + 1);
        let line = before.matches('\n').count() + 1;
        (line, text[line_start..at].chars().count() + 1)
    });
    assert_eq!(
        problem.line.zip(problem.column),
        place,
        "place of {:?}:\n{problem}",
        case.to
    );
    problem
}

fn check(cases: &[Case]) {
    for case in cases {
        let problem = first_problem(case);
        assert_eq!(problem.file, case.file, "{problem}");
        assert!(
            problem.seen.contains(case.seen),
            "{:?}:\n{problem}",
            case.to
        );
        assert!(
            problem.expected.contains(case.expected),
            "{:?}:\n{problem}",
            case.to
        );
        assert!(
            problem.remedy.contains(case.remedy),
            "{:?}:\n{problem}",
            case.to
        );
    }
}

#[test]
fn keys_that_are_not_known() {
    check(&[
        toml(
            "drift_stops = 0.05",
            "holder = \"1A\"",
            "holder",
            "unknown key `holder` in [[light]]",
            "",
            "`holder` is a key of [[frame]]",
        ),
        toml(
            "time_marked_s = \"1/2\"",
            "shutter = \"1/2\"",
            "shutter",
            "unknown key `shutter`",
            "",
            "did you mean `time_marked_s` (seconds)?",
        ),
        toml(
            "time_s = 540",
            "time = 8",
            "time = 8",
            "unknown key `time` in [[process]]",
            "id, developer, dilution, time_s",
            "did you mean `time_s` (seconds)?",
        ),
        toml(
            "temperature_c = 20",
            "temperature = 20",
            "temperature = 20",
            "unknown key `temperature`",
            "",
            "did you mean `temperature_c` (degrees Celsius)?",
        ),
        toml(
            "focal_length_mm = 150",
            "focal_length_cm = 15",
            "focal_length_cm",
            "unknown key `focal_length_cm`",
            "",
            "`focal_length_mm` (millimetres)",
        ),
        toml(
            "aperture_f = 22",
            "aperture = 22",
            "aperture = 22",
            "unknown key `aperture`",
            "",
            "`aperture_f` (f-number)",
        ),
        toml(
            "ev100 = 14.7",
            "ev = 14.7",
            "ev = 14.7",
            "unknown key `ev` in [[light]]",
            "",
            "`ev100`",
        ),
        toml(
            "[[film]]",
            "[[films]]",
            "films",
            "unknown key `films` in the top of the file",
            "",
            "did you mean `film`",
        ),
        toml(
            "invented = true",
            "zzz = 1",
            "zzz",
            "unknown key `zzz`",
            "",
            "remove the key",
        ),
        toml(
            "mode = \"spot\"",
            "mod = \"spot\"",
            "mod =",
            "unknown key `mod` in meter",
            "mode",
            "`mode`",
        ),
    ]);
}

#[test]
fn keys_that_are_missing() {
    check(&[
        toml(
            "developer = \"Developer D\"\n",
            "",
            "[[process]]",
            "[[process]] has no key `developer`",
            "`developer = …`, text in quotes",
            "add the key",
        ),
        toml(
            "format = 1\n",
            "",
            "title",
            "has no key `format`",
            "",
            "add the key",
        ),
        toml(
            "format = 1",
            "format = 2",
            "2",
            "`format` is 2",
            "format = 1",
            "a version",
        ),
        toml(
            "title = ",
            "tester2 = ",
            "tester2",
            "unknown key `tester2`",
            "",
            "`tester`",
        ),
        toml(
            "light = \"noon\"\nei",
            "ei",
            "[[frame]]",
            "frame 1 is exposed in a camera and has no key `light`",
            "",
            "add the key",
        ),
        toml(
            "level = \"half_transmittance\"",
            "",
            "{ wavelength_nm",
            "edge has no key `level`",
            "half_of_peak",
            "add the key",
        ),
    ]);
}

#[test]
fn values_that_are_impossible() {
    check(&[
        toml(
            "ei = 400",
            "ei = 0",
            "0\naperture",
            "`ei` of [[frame]] is 0",
            "an exposure index greater than 0",
            "EI must be greater than 0, found 0",
        ),
        toml(
            "ev100 = 14.7",
            "ev100 = nan",
            "nan",
            "`ev100` of [[light]] is nan",
            "between -30 and 40",
            "must be a finite number",
        ),
        toml(
            "ev100 = 14.7",
            "ev100 = inf",
            "inf",
            "is inf",
            "between -30 and 40",
            "finite",
        ),
        toml(
            "time_s = 540",
            "time_s = -1",
            "-1\n",
            "is -1",
            "seconds greater than 0",
            "found -1",
        ),
        toml(
            "time_s = 540",
            "time_s = \"8 min\"",
            "\"8 min\"",
            "is \"8 min\"",
            "a fraction in quotes such as \"1/30\"",
            "write the seconds as a number",
        ),
        toml(
            "time_marked_s = \"1/2\"",
            "time_marked_s = \"1/0\"",
            "\"1/0\"",
            "\"1/0\"",
            "seconds greater than 0",
            "",
        ),
        toml(
            "aperture_f = 22",
            "aperture_f = \"f/22\"",
            "\"f/22\"",
            "is \"f/22\"",
            "f-number",
            "the unit belongs to the key",
        ),
        toml(
            "temperature_c = 20",
            "temperature_c = \"20,5\"",
            "\"20,5\"",
            "is \"20,5\"",
            "degrees Celsius",
            "without quotes and with a decimal point",
        ),
        toml(
            "nominal = \"31\"",
            "steps_density = [0.05, 40]\ndensity_sd = 0.01",
            "40]",
            "`steps_density` of [[tablet]] is 40",
            "a density between -1 and 10",
            "found 40",
        ),
        toml(
            "nominal = \"31\"",
            "nominal = \"30\"",
            "\"30\"",
            "`nominal` of [[tablet]] is \"30\"",
            "\"21\", \"31\", \"11\"",
            "did you mean",
        ),
        toml(
            "sky = \"clear_sun\"",
            "sky = \"clear sun\"",
            "\"clear sun\"",
            "is \"clear sun\"",
            "\"thin_cloud\"",
            "did you mean \"clear_sun\"?",
        ),
        toml(
            "drift_stops = 0.05",
            "drift_stops = -0.05",
            "-0.05",
            "is -0.05",
            "0 or more",
            "",
        ),
        toml(
            "2026-06-21T12:30:00+02:00",
            "2026-06-31T12:30:00+02:00",
            "\"2026-06-31",
            "2026-06-31",
            "offset from UTC",
            "write date, time and offset",
        ),
        toml(
            "\"2026-06-21T12:30:00+02:00\"",
            "2026-06-21T12:30:00",
            "2026-06-21T12:30:00",
            "2026-06-21T12:30:00",
            "offset from UTC",
            "",
        ),
        toml(
            "inset_px = 5",
            "inset_px = 15",
            "{ x_px",
            "31 cells in 930 pixels",
            "one pixel wide",
            "correct the rectangle",
        ),
        toml(
            "width_px = 930",
            "width_px = 4294967295",
            "{ x_px",
            "31 cells",
            "",
            "",
        ),
        toml(
            "unreadable_steps = [31]",
            "unreadable_steps = [32]",
            "32]",
            "unreadable step 32",
            "between 1 and 31",
            "correct the number",
        ),
    ]);
}

#[test]
fn values_of_another_type() {
    check(&[
        toml(
            "title = \"Testfilm A behind R-715, open meadow\"",
            "title = 3",
            "3",
            "`title` of the top of the file is 3",
            "text in quotes",
            "put it in quotes",
        ),
        toml(
            "tester = \"A. Tester\"",
            "tester = \"\"",
            "\"\"",
            "`tester`",
            "not empty",
            "leave the key out",
        ),
        toml(
            "invented = true",
            "invented = \"yes\"",
            "\"yes\"",
            "\"yes\"",
            "true or false",
            "without quotes",
        ),
        toml(
            "[[filter]]",
            "[filter]",
            "[filter]",
            "`filter`",
            "tables titled [[filter]]",
            "two brackets",
        ),
        toml(
            "filters = [\"715\"]",
            "filters = \"715\"",
            "\"715\"\nprocess",
            "is \"715\"",
            "a list in brackets",
            "brackets",
        ),
        toml(
            "meter = { mode",
            "meter = \"spot\" #",
            "\"spot\" #",
            "`meter`",
            "a table",
            "{ key",
        ),
        toml(
            "x_px = 100",
            "x_px = 100.5",
            "100.5",
            "`x_px` of cells is 100.5",
            "a whole number",
            "whole number",
        ),
        toml(
            "id = \"film-a\"",
            "id = \"film a\"",
            "\"film a\"",
            "`id` of [[film]] is \"film a\"",
            "a record name",
            "use other characters",
        ),
        toml(
            "id = \"1\"",
            "id = 1",
            "1\nfilm",
            "`id` of [[frame]] is 1",
            "a record name",
            "in quotes",
        ),
    ]);
}

#[test]
fn text_that_is_no_toml() {
    check(&[
        toml(
            "ei = 400",
            "ei = ",
            "\naperture",
            "ei =",
            "TOML",
            "mend the line",
        ),
        toml(
            "title = \"Testfilm",
            "title = Testfilm",
            "Testfilm",
            "title = Testfilm",
            "TOML",
            "",
        ),
        toml(
            "[[film]]",
            "[[film]",
            "\nid = \"film-a\"",
            "[[film]",
            "TOML",
            "",
        ),
        toml(
            "format = 1",
            "format = 1\nformat = 1",
            "format = 1\ntitle",
            "duplicate key",
            "TOML",
            "",
        ),
    ]);
}

#[test]
fn records_that_do_not_fit_together() {
    check(&[
        toml(
            "filters = [\"715\"]",
            "filters = [\"751\"]",
            "\"751\"",
            "frame 2 refers to filter 751, which is not recorded",
            "one of the recorded names: 715",
            "",
        ),
        toml(
            "light = \"noon\"\naperture",
            "light = \"nooon\"\naperture",
            "\"nooon\"",
            "refers to light nooon",
            "noon",
            "did you mean \"noon\"?",
        ),
        toml(
            "id = \"2\"",
            "id = \"1\"",
            "\"1\"\nfilm = \"film-a\"\nfilters",
            "two frame records are named 1",
            "stands in line",
            "rename",
        ),
        toml(
            "holder = \"1B\"",
            "holder = \"1A\"",
            "\"2\"",
            "frames 1 and 2 are both in holder 1A",
            "one frame for each side",
            "correct the holder",
        ),
        toml(
            "role = \"unexposed\"",
            "role = \"repeat\"",
            "[[frame]]\nid = \"base\"",
            "frame base has no exposure",
            "log_h_relative",
            "role = \"unexposed\"",
        ),
        toml(
            "role = \"anchor\"",
            "role = \"unexposed\"",
            "\"1\"\nfilm",
            "frame 1 has the role unexposed but its exposure is in a camera",
            "",
            "correct",
        ),
        toml(
            "role = \"unexposed\"",
            "role = \"unexposed\"\nlog_h_relative = 1",
            "1\n\n[[outside",
            "one of `log_h_relative` and `log_h_relative_sd`",
            "both",
            "add the other key",
        ),
        toml(
            "ei = 400",
            "log_h_relative = 1",
            "1\naperture",
            "frame 1 has both `light` and `log_h_relative`",
            "one way of exposure",
            "remove",
        ),
        toml(
            "ei = 400",
            "bellows_draw_mm = 300\nmagnification = 1",
            "300\n",
            "both `magnification` and `bellows_draw_mm`",
            "one of the two",
            "keep",
        ),
        toml(
            "ei = 400",
            "time_actual_uncertainty_stops = 0.1",
            "0.1\n",
            "the uncertainty of an actual time that is not given",
            "time_actual_s",
            "",
        ),
        toml(
            "ev100 = 14.7",
            "ev100 = 14.7\nilluminance_lux = 3",
            "3\n",
            "[[light]] has both `ev100` and `illuminance_lux`",
            "at most one",
            "keep",
        ),
        toml(
            "nominal = \"31\"",
            "nominal = \"31\"\ncertified = true",
            "true\n\n[[scan",
            "nominal and certified at once",
            "",
            "list the certified densities",
        ),
        toml(
            "nominal = \"31\"",
            "serial = \"1\"",
            "[[tablet]]",
            "tablet strip-31 gives its densities in 0 ways",
            "exactly one of",
            "add",
        ),
        toml(
            "nominal = \"31\"",
            "steps_density = [0.1, 0.2]\nsteps_density_sd = [0.1]",
            "[0.1]",
            "2 densities and 1 uncertainties",
            "one uncertainty for each",
            "complete",
        ),
        toml(
            "inset_px = 5",
            "count = 32",
            "\"sheets\"",
            "scan sheets has 32 step outlines, but tablet strip-31 has 31 steps",
            "",
            "outline",
        ),
        toml(
            "tone = \"linear\"",
            "tone = \"gamma\"",
            "\"gamma\"",
            "the tone \"gamma\" without its number",
            "tone_gamma",
            "add the key",
        ),
        toml(
            "tone = \"linear\"",
            "dark_frame = \"dark.dng\"",
            "\"dark.dng\"",
            "scan sheets has a dark frame, but no flat field",
            "flat_field",
            "add the flat field",
        ),
        toml(
            "tone = \"linear\"",
            "sha256 = \"abc\"",
            "\"abc\"",
            "`sha256` of scan sheets",
            "64 hex digits",
            "copy the whole checksum",
        ),
        toml(
            "tone = \"linear\"",
            "repeat_of = \"sheets\"",
            "\"sheets\"",
            "scan sheets refers to itself",
            "another scan",
            "",
        ),
        toml(
            "cells = {",
            "steps = [{ x_px = 1 }]\ncells = {",
            "[scan.strip]",
            "has both `cells` and `steps`",
            "",
            "one of the two ways",
        ),
    ]);
}

#[test]
fn patches_and_readings_that_are_at_fault() {
    check(&[
        patches(
            "frame,patch",
            "frame;patch",
            "frame;",
            "unknown column `frame;patch`",
            "",
            "",
        ),
        patches(
            "polygon_px",
            "poligon_px",
            "poligon_px",
            "unknown column `poligon_px`",
            "",
            "did you mean `polygon_px`?",
        ),
        patches(
            "grey_card",
            "gray_card",
            "gray_card",
            "`role` is \"gray_card\"",
            "grey_card",
            "",
        ),
        patches(
            "1,card",
            "9,card",
            "9,card",
            "patch card refers to frame 9",
            "1, 2, base",
            "",
        ),
        patches(
            "1,leaves,sunlit_foliage,sheets",
            "1,leaves,sunlit_foliage,sheet",
            "sheet,",
            "patch leaves refers to scan sheet",
            "sheets",
            "did you mean \"sheets\"?",
        ),
        patches(
            "1,leaves",
            "1,card",
            "card,sunlit",
            "frame 1 has two patches named card",
            "stands in line 2",
            "rename",
        ),
        patches(
            "400,600,80,80",
            "400,600,80,0",
            "0,,\n1,leaves",
            "`height_px` is \"0\"",
            "1 or more",
            "",
        ),
        patches(
            "400,600,80,80",
            "400,600,80,4294967295",
            "400,600",
            "beyond the largest",
            "",
            "",
        ),
        patches(
            "400,600,80,80",
            "400,600,80,",
            ",,\n1,leaves",
            "`height_px` is empty",
            "all four",
            "",
        ),
        patches(
            "400,600,80,80,,",
            "400,600,80,80,3,",
            "400,600",
            "more than one outline",
            "",
            "",
        ),
        patches(
            "400,600,80,80,,",
            ",,,,3,",
            "sheets,",
            "scan sheets has no region map",
            "region_map",
            "add the region map",
        ),
        patches(
            "200 500; 290 510; 280 590",
            "200 500; 290",
            "200 500; 290",
            "`polygon_px` is \"200 500; 290\"",
            "at least three corners",
            "",
        ),
        patches(
            "2,card,grey_card",
            "2,card,tablet_step:3",
            "card,tablet_step",
            "patch card of frame 2 is step 3, but its tablet has 0 steps",
            "",
            "correct the step",
        ),
        patches(
            "base,clear,base_fog,",
            "base,clear,base_fog,sheets",
            "sheets,,,,,,\n",
            "names a scan and has no outline",
            "",
            "",
        ),
        readings(
            "0.82",
            "40",
            "40",
            "`density` is \"40\"",
            "between -0.2 and 10",
            "",
        ),
        readings(
            "0.82",
            "-0.82",
            "-0.82",
            "`density` is \"-0.82\"",
            "between -0.2 and 10",
            "",
        ),
        readings(
            "0.82,0.01",
            "0.82,0",
            "0,,diffuse",
            "`density_sd` is \"0\"",
            "greater than 0",
            "",
        ),
        readings(
            "0.82",
            "NaN",
            "NaN",
            "`density` is \"NaN\"",
            "between -0.2 and 10",
            "",
        ),
        readings(
            "0.82",
            "\"0,82\"",
            "\"0,82\"",
            "`density` is \"0,82\"",
            "",
            "with a point",
        ),
        readings(
            "0.82,0.01",
            "0,82,0.01",
            "diffuse",
            "",
            "",
            "decimal numbers with a point",
        ),
        readings(
            "0.82,0.01,",
            "0.82,0.01,below",
            "below",
            "`limit` is \"below\"",
            "at_least, at_most",
            "",
        ),
        readings(
            "1,card",
            "1,tree",
            "tree",
            "names patch tree, which is not in patches.csv",
            "a patch of frame 1: card, leaves",
            "1,tree,ROLE",
        ),
        readings("1,card", "7,card", "7,card", "refers to frame 7", "", ""),
        readings(
            "geometry",
            "origin",
            "diffuse",
            "`origin` is \"diffuse visual\"",
            "scan:ID",
            "",
        ),
        readings(
            "\n1,card",
            "\n1,\"card",
            "\"card",
            "opened and never closed",
            "",
            "close",
        ),
    ]);
}

#[test]
fn scans_that_are_not_there_or_not_in_the_folder() {
    check(&[
        toml(
            "scans/sheets.tif",
            "scans/sheet.tif",
            "\"scans/sheet.tif\"",
            "the file \"scans/sheet.tif\" is not there",
            "a file of this folder",
            "\"sheets.tif\"",
        ),
        toml(
            "scans/sheets.tif",
            "scan/sheets.tif",
            "\"scan/sheets.tif\"",
            "is not there",
            "",
            "its folder is not there",
        ),
        toml(
            "scans/sheets.tif",
            "scans",
            "\"scans\"\ndevice",
            "\"scans\" is no file",
            "",
            "",
        ),
        toml(
            "scans/sheets.tif",
            "../sheets.tif",
            "\"../sheets.tif\"",
            "leaves the folder by ..",
            "a path within the test folder",
            "move the file into the folder",
        ),
        toml(
            "scans/sheets.tif",
            "/etc/hosts",
            "\"/etc/hosts\"",
            "is absolute",
            "",
            "",
        ),
        toml(
            "scans/sheets.tif",
            "C:/sheets.tif",
            "\"C:/sheets.tif\"",
            "a drive letter",
            "",
            "",
        ),
        toml(
            "\"scans/sheets.tif\"",
            "'scans\\sheets.tif'",
            "'scans\\sheets.tif'",
            "a backslash",
            "with / between",
            "",
        ),
        toml(
            "power:1.31",
            "table:law.csv",
            "\"table:law.csv\"",
            "\"law.csv\" is not there",
            "",
            "",
        ),
        toml(
            "nominal = \"31\"",
            "steps_file = \"../t.csv\"",
            "\"../t.csv\"",
            "leaves the folder by ..",
            "",
            "",
        ),
    ]);
}

#[cfg(unix)]
#[test]
fn links_that_lead_out_of_the_folder() {
    let dir = tempfile::tempdir().unwrap();
    let outside = tempfile::tempdir().unwrap();
    sample::write(dir.path());
    let scan = dir.path().join("scans/sheets.tif");
    std::fs::write(outside.path().join("x.tif"), "x").unwrap();
    std::fs::remove_file(&scan).unwrap();
    std::os::unix::fs::symlink(outside.path().join("x.tif"), &scan).unwrap();
    let error = refused(dir.path()).to_string();
    assert!(
        error.contains("\"scans/sheets.tif\" leads out of the folder by a link"),
        "{error}"
    );

    // A link of a folder on the way leads out just as well.
    std::fs::remove_dir_all(dir.path().join("scans")).unwrap();
    std::fs::write(outside.path().join("sheets.tif"), "x").unwrap();
    std::os::unix::fs::symlink(outside.path(), dir.path().join("scans")).unwrap();
    let error = refused(dir.path()).to_string();
    assert!(
        error.contains("leads out of the folder by a link"),
        "{error}"
    );

    // A link within the folder is fine.
    std::fs::remove_file(dir.path().join("scans")).unwrap();
    std::fs::create_dir(dir.path().join("scans")).unwrap();
    std::fs::write(dir.path().join("real.tif"), "x").unwrap();
    std::os::unix::fs::symlink("../real.tif", &scan).unwrap();
    read_test_folder(dir.path()).unwrap();

    // The text files are held to the same.
    std::fs::rename(
        dir.path().join("readings.csv"),
        outside.path().join("r.csv"),
    )
    .unwrap();
    std::os::unix::fs::symlink(
        outside.path().join("r.csv"),
        dir.path().join("readings.csv"),
    )
    .unwrap();
    let error = refused(dir.path()).to_string();
    assert!(
        error.contains("\"readings.csv\" leads out of the folder by a link"),
        "{error}"
    );
}

#[test]
fn folders_that_hold_no_test() {
    let dir = tempfile::tempdir().unwrap();
    let error = refused(dir.path()).to_string();
    assert!(error.contains("the folder holds no test.toml"), "{error}");
    assert!(error.contains("run `filmproof demo DIR`"), "{error}");
    assert!(
        error.starts_with(&dir.path().display().to_string()),
        "{error}"
    );
    let error = refused(&dir.path().join("none")).to_string();
    assert!(error.contains("the folder can't be opened"), "{error}");
    let file = dir.path().join("file");
    std::fs::write(&file, "x").unwrap();
    assert!(refused(&file).to_string().contains("this is a file"));
    std::fs::create_dir(dir.path().join("test.toml")).unwrap();
    assert!(
        refused(dir.path())
            .to_string()
            .contains("\"test.toml\" is no file")
    );
}

#[test]
fn files_that_are_too_large_or_no_text() {
    let dir = tempfile::tempdir().unwrap();
    sample::write(dir.path());
    let path = dir.path().join("test.toml");
    // The limit is 16 MB.
    std::fs::write(&path, vec![b'#'; 16 * 1024 * 1024 + 1]).unwrap();
    let error = refused(dir.path()).to_string();
    assert!(error.contains("at most 16 MB"), "{error}");
    std::fs::write(&path, b"format = 1\n\xFF").unwrap();
    let error = refused(dir.path()).to_string();
    assert!(
        error.starts_with("test.toml, line 2: byte 0xFF is no UTF-8 text"),
        "{error}"
    );
    std::fs::write(&path, "").unwrap();
    let error = refused(dir.path()).to_string();
    assert!(error.contains("has no key `format`"), "{error}");
}

#[test]
fn text_that_is_nested_without_end() {
    let dir = tempfile::tempdir().unwrap();
    sample::write(dir.path());
    for (open, times) in [
        ("[", 200_000),
        ("{a=", 200_000),
        ("[a.", 50_000),
        ("a.", 50_000),
    ] {
        let text = format!("format = 1\nx = {}", open.repeat(times));
        std::fs::write(dir.path().join("test.toml"), text).unwrap();
        assert!(!refused(dir.path()).problems.is_empty());
        std::fs::write(dir.path().join("test.toml"), open.repeat(times)).unwrap();
        assert!(!refused(dir.path()).problems.is_empty());
    }
}

#[test]
fn line_ends_and_byte_order_marks_make_no_difference() {
    let dir = tempfile::tempdir().unwrap();
    sample::write(dir.path());
    let plain = read_test_folder(dir.path()).unwrap().test;
    for name in ["test.toml", "patches.csv", "readings.csv"] {
        let path = dir.path().join(name);
        let text = std::fs::read_to_string(&path)
            .unwrap()
            .replace('\n', "\r\n");
        std::fs::write(&path, format!("\u{FEFF}{text}")).unwrap();
    }
    assert_eq!(read_test_folder(dir.path()).unwrap().test, plain);
}

#[test]
fn all_problems_are_named_at_once_and_at_most_twenty() {
    let dir = tempfile::tempdir().unwrap();
    sample::write(dir.path());
    let text = sample::test_toml()
        .replace("time_s = 540", "time = 540")
        .replace("ei = 400", "ei = 0");
    std::fs::write(dir.path().join("test.toml"), &text).unwrap();
    let rows = sample::readings_csv().replace("0.82", "x");
    std::fs::write(dir.path().join("readings.csv"), rows).unwrap();
    let error = refused(dir.path());
    assert_eq!((error.problems.len(), error.more), (3, 0), "{error}");

    let mut many = sample::readings_csv();
    for _ in 0..30 {
        many.push_str("1,card,x,,,\n");
    }
    std::fs::write(dir.path().join("readings.csv"), many).unwrap();
    let error = refused(dir.path());
    // 2 of test.toml and 30 rows: 20 are shown.
    assert_eq!((error.problems.len(), error.more), (20, 12));
    assert!(
        error.to_string().ends_with("and 12 more problems"),
        "{error}"
    );
}

#[test]
fn what_was_assumed_is_a_warning() {
    let dir = tempfile::tempdir().unwrap();
    sample::write(dir.path());
    let rows = sample::readings_csv().replace("0.82,0.01", "0.82,");
    std::fs::write(dir.path().join("readings.csv"), rows).unwrap();
    let text = sample::test_toml().replace(
        "nominal = \"31\"",
        "steps_file = \"t.csv\"\ncertified = true",
    );
    std::fs::write(dir.path().join("test.toml"), text).unwrap();
    let steps: String = (0..31)
        .map(|i| format!("{},{}.05\n", i + 1, i % 4))
        .collect();
    std::fs::write(dir.path().join("t.csv"), format!("step,density\n{steps}")).unwrap();
    let folder = read_test_folder(dir.path()).unwrap();
    assert_eq!(
        folder.warnings,
        [
            "t.csv: 31 steps of tablet strip-31 state no density_sd; 0.02 was taken for each",
            "readings.csv: 1 readings state no density_sd; 0.02 was taken for each",
        ]
    );
    assert!(folder.test.parts().tablets[0].certified);
    // A fault in the certificate is named in the certificate.
    std::fs::write(dir.path().join("t.csv"), "step,density\n1,0.05\n2,x\n").unwrap();
    let error = refused(dir.path()).to_string();
    assert!(
        error.starts_with("t.csv, line 3, column 3: `density` is \"x\""),
        "{error}"
    );
}
