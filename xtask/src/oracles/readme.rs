//! The README's table of commands against the program's own list.

use super::Bench;

pub(super) fn compare(bench: &mut Bench) -> Result<(), String> {
    let help = bench.run(&["--help"])?.stdout;
    let listed = commands(&help);
    bench.told(
        listed.len() > 1,
        &format!("{} commands are listed by --help", listed.len()),
    );
    for command in listed {
        let named = bench.readme.contains(&format!("| `filmproof {command}"));
        bench.told(named, &format!("README names {command}"));
    }
    Ok(())
}

/// The first word of each line under `Commands:`, without `help`.
fn commands(help: &str) -> Vec<&str> {
    help.lines()
        .skip_while(|line| *line != "Commands:")
        .skip(1)
        .take_while(|line| !line.is_empty())
        // Lines that go on have more than two blanks in front.
        .filter(|line| line.starts_with("  ") && !line.starts_with("   "))
        .filter_map(|line| line.split_whitespace().next())
        .filter(|command| *command != "help")
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn commands_are_the_first_words_of_their_lines() {
        let help =
            "Usage\n\nCommands:\n  demo   Write\n         more\n  help   Print\n\nOptions:\n  -h\n";
        assert_eq!(commands(help), ["demo"]);
    }
}
