//! What the program must refuse, by exit code and by what it says.

use super::Bench;

pub(super) fn compare(bench: &mut Bench) -> Result<(), String> {
    bench.write("not-a-number.csv", "log_h,density\n-2.0,0.2\n-1.0,NaN\n")?;
    bench.write("no-such-column.csv", "exposure,density\n-2.0,0.2\n")?;
    bench.write("not-a-scan.tif", "II*\0no picture follows")?;
    // Exit code 1: the input is at fault; 2: usage. The word must be in the message.
    let rows: &[(&[&str], i32, &str)] = &[
        (&["evaluate", "no-such-folder"], 1, "no-such-folder"),
        (&["curve", "not-a-number.csv"], 1, "line 3"),
        (&["curve", "no-such-column.csv"], 1, "log_h"),
        (&["measure", "not-a-scan.tif"], 1, "not-a-scan.tif"),
        (
            &["expose", "--ev100", "10", "--ei", "0", "--aperture", "8"],
            1,
            "0",
        ),
        (&["expose", "--ei", "100", "--aperture", "8"], 2, "--ev100"),
        (&["no-such-command"], 2, "no-such-command"),
    ];
    for (arguments, code, word) in rows {
        let got = bench.run(arguments)?;
        let held = got.code == *code && got.stderr.contains(word) && got.stdout.is_empty();
        let first = got.stderr.lines().next().unwrap_or("").to_owned();
        bench.told(
            held,
            &format!("{} gives {}: {first}", arguments.join(" "), got.code),
        );
    }
    Ok(())
}
