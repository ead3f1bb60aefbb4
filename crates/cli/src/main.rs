//! The `filmproof` command.
//!
//! Parses, calls `app`, prints. Results go to standard output, everything else
//! to standard error. Exit code 0: done; 1: the input is at fault; 2: usage.
//!
//! This room must never compute, and sees no room but `app`, and `web` for `serve`.

#![expect(
    clippy::print_stderr,
    reason = "this is the room that speaks to a person"
)]

mod arguments;
mod bracket_curve;
mod comparison_text;
mod exchange;
mod exposing;
mod field;
mod film_options;
mod findings_text;
mod light;
mod map;
mod plan;
mod predict;
mod progress_bar;
mod replan;
mod serve;
mod sun;
mod trace_plot;

use app::{
    AppError, CurveRequest, Evaluated, MeasureRequest, OUTSIDE_DECODER_THREAD, compare_tests,
    curve_of_file, evaluate_folder, expose, infrared_focus, measure_scan, write_demo, write_file,
};
use arguments::{Arguments, Command, CurveArguments, MeasureArguments};
use clap::{CommandFactory, Parser};
use progress_bar::ProgressBar;
use serde_json::Value;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

fn main() -> ExitCode {
    quieten_outside_decoder();
    let arguments = Arguments::parse();
    match run(arguments) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("filmproof: {}", harmless(&error.to_string()));
            ExitCode::from(1)
        }
    }
}

/// Leaves out of standard error what a decoder from outside says when it breaks on
/// a file: that is caught, and told as the file's refusal.
fn quieten_outside_decoder() {
    let usual = std::panic::take_hook();
    std::panic::set_hook(Box::new(move |panic| {
        if std::thread::current().name() != Some(OUTSIDE_DECODER_THREAD) {
            usual(panic);
        }
    }));
}

fn run(arguments: Arguments) -> Result<(), AppError> {
    let progress = ProgressBar::new(arguments.quiet);
    match arguments.command {
        Command::Demo { dir } => {
            write_demo(&dir, &progress)?;
            progress.finish();
            say(&format!(
                "The worked example is in {0}.\nIts data are invented; the truth they were made from is in {0}/truth.csv.\nEvaluate it with: filmproof evaluate {0}",
                dir.display()
            ))
        }
        Command::Evaluate {
            test,
            notebook,
            out,
            json,
            no_date,
        } => {
            let made_on = (!no_date).then(|| jiff::ZonedDateTime::now().date().to_string());
            if let Some(notebook) = notebook {
                let evaluated =
                    exchange::evaluated(&notebook, &test, out.as_deref(), made_on, &progress)?;
                progress.finish();
                return say_evaluated(&evaluated, json);
            }
            if test == Path::new("demo") && !test.exists() {
                write_demo(&test, &progress)?;
                progress.note("wrote the worked example into the folder demo (invented data)");
            }
            let evaluated = evaluate_folder(&test, out.as_deref(), made_on, &progress)?;
            progress.finish();
            say_evaluated(&evaluated, json)
        }
        Command::Compare {
            tests,
            figure,
            json,
        } => compare(&tests, figure.as_deref(), json, &progress),
        Command::Measure(arguments) => measure(&arguments, &progress),
        Command::Curve(arguments) => curve(&arguments),
        Command::BracketCurve(arguments) => bracket_curve::recovered(&arguments),
        Command::Map(arguments) => map::mapped(&arguments, &progress),
        Command::Expose(arguments) => {
            let answer = expose(&exposing::expose_request(&arguments)?)?;
            answered(arguments.json, &answer.json, &answer.lines)
        }
        Command::Focus(arguments) => {
            let answer = infrared_focus(&exposing::focus_request(&arguments)?)?;
            answered(arguments.json, &answer.json, &answer.lines)
        }
        Command::Plan(arguments) => plan::planning(&arguments),
        Command::Predict(arguments) => predict::prediction(&arguments),
        Command::Light(arguments) => light::light(&arguments),
        Command::Sun(arguments) => sun::sun(&arguments),
        Command::TracePlot(arguments) => trace_plot::traced(&arguments),
        Command::Replan(arguments) => replan::replanning(&arguments),
        Command::Card { test, out } => field::card(&test, out.as_deref()),
        Command::Import(arguments) => exchange::import(&arguments, &progress),
        Command::Export(arguments) => exchange::export(&arguments),
        Command::Notebook(arguments) => exchange::notebook(&arguments),
        Command::Serve(arguments) => serve::serving(&arguments),
        Command::Schema { plan } => say_json(&if plan {
            app::plan_schema()
        } else {
            app::schema()
        }),
        Command::Completions { shell } => {
            let mut command = Arguments::command();
            let mut bytes = vec![];
            clap_complete::generate(shell, &mut command, "filmproof", &mut bytes);
            write_out(&bytes)
        }
    }
}

/// Says what an evaluation found and where its report is.
fn say_evaluated(evaluated: &Evaluated, json: bool) -> Result<(), AppError> {
    for warning in &evaluated.warnings {
        say_note(warning);
    }
    if json {
        return say_json(&evaluated.json);
    }
    let mut text = findings_text::findings_text(&evaluated.findings);
    text.push_str(&findings_text::sentences("Scans", &evaluated.scan_lines));
    text.push_str(&findings_text::sentences("Refused", &evaluated.refusals));
    text.push_str(&format!("\nReport: {}\n", evaluated.report.display()));
    say(text.trim_end())
}

fn compare(
    tests: &[PathBuf],
    figure: Option<&Path>,
    json: bool,
    progress: &ProgressBar,
) -> Result<(), AppError> {
    let compared = compare_tests(tests, progress)?;
    progress.finish();
    for warning in &compared.warnings {
        say_note(warning);
    }
    if let Some(path) = figure {
        let Some((film, svg)) = compared.process_plots.first() else {
            return Err(AppError::new(
                "no film has two curves, so there is no running plot",
                "leave --figure out, or compare two tests of one film",
            ));
        };
        write_file(path, svg.as_bytes())?;
        for (other, _) in &compared.process_plots[1..] {
            say_note(&format!("the figure shows {film}; {other} is not in it"));
        }
    }
    if json {
        return say_json(&compared.json);
    }
    let mut text = comparison_text::comparison_text(&compared.comparison);
    if let Some(path) = figure {
        text.push_str(&format!("\nFigure: {}\n", path.display()));
    }
    say(text.trim_end())
}

fn measure(arguments: &MeasureArguments, progress: &ProgressBar) -> Result<(), AppError> {
    if arguments.picture.is_some() && arguments.scans.len() > 1 {
        return Err(AppError::new(
            "one picture is asked for, but several scans are given",
            "measure the scans one by one, or leave --picture out",
        ));
    }
    let mut answers = vec![];
    let mut failures = vec![];
    for scan in &arguments.scans {
        let request = MeasureRequest {
            scan: scan.clone(),
            page: arguments.page,
            tablet: arguments.tablet.clone(),
            strip: arguments.strip.clone(),
            patches: arguments.patches.clone(),
            region_map: arguments.region_map.clone(),
            tone: arguments.tone.clone(),
            channel: arguments.channel.clone(),
            flat_field: arguments.flat_field.clone(),
            dark_frame: arguments.dark_frame.clone(),
            picture: arguments.picture.clone(),
        };
        match measure_scan(&request, progress) {
            Ok(measured) => answers.push(measured),
            Err(error) => failures.push(error),
        }
    }
    progress.finish();
    for answer in &answers {
        for warning in &answer.warnings {
            say_note(warning);
        }
    }
    if arguments.json {
        let mut all: Vec<Value> = answers.into_iter().map(|a| a.json).collect();
        // One scan gives one object, several an array.
        if arguments.scans.len() == 1 {
            if let Some(one) = all.pop() {
                say_json(&one)?;
            }
        } else {
            say_json(&Value::Array(all))?;
        }
    } else {
        for answer in &answers {
            say(&answer.lines.join("\n"))?;
        }
    }
    match failures.len() {
        0 => Ok(()),
        1 => Err(failures.remove(0)),
        n => {
            let told: Vec<String> = failures.iter().map(ToString::to_string).collect();
            Err(AppError::new(
                format!(
                    "{n} of {} scans were not measured\n{}",
                    arguments.scans.len(),
                    told.join("\n")
                ),
                "",
            ))
        }
    }
}

fn curve(arguments: &CurveArguments) -> Result<(), AppError> {
    let answer = curve_of_file(&CurveRequest {
        file: arguments.readings.clone(),
        base_plus_fog: arguments.base_plus_fog,
        relative: arguments.relative,
        figure: arguments.figure.is_some(),
    })?;
    for warning in &answer.warnings {
        say_note(warning);
    }
    if let Some(path) = &arguments.figure {
        let Some(svg) = &answer.svg else {
            return Err(AppError::new(
                "the curve has nothing to draw",
                "leave --figure out",
            ));
        };
        write_file(path, svg.as_bytes())?;
    }
    if arguments.json {
        return say_json(&answer.json);
    }
    let mut text = format!(
        "{}\n{}; residual {:.3} density\n± is one standard deviation (low and high of --json hold {:.0} %)\n\n",
        arguments.readings.display(),
        answer.curve.method().name(),
        answer.curve.residual_sd(),
        100.0 * answer.coverage
    );
    text.push_str(&findings_text::criteria_text(&answer.rows, &answer.limits));
    for odd in &answer.odd_readings {
        text.push_str(&format!("\n{odd}"));
    }
    for flag in answer.flags.iter() {
        text.push_str(&format!("\nnote: {}", flag.meaning()));
    }
    if let Some(path) = &arguments.figure {
        text.push_str(&format!("\nFigure: {}", path.display()));
    }
    say(text.trim_end())
}

/// Says an answer as JSON or as lines.
fn answered(as_json: bool, json: &Value, lines: &[String]) -> Result<(), AppError> {
    if as_json {
        say_json(json)
    } else {
        say(&lines.join("\n"))
    }
}

/// Says lines to a person. A name may come from a stranger's file: a character that
/// could steer the terminal is shown as one that can't.
fn say(text: &str) -> Result<(), AppError> {
    write_out(format!("{}\n", harmless(text)).as_bytes())
}

/// Says on standard error what a reader must know though nothing is wrong.
fn say_note(text: &str) {
    eprintln!("note: {}", harmless(text));
}

/// A text without characters that steer a terminal.
fn harmless(text: &str) -> String {
    text.chars()
        .map(|c| match c {
            '\n' | '\t' => c,
            c if c.is_control() => '\u{fffd}',
            c => c,
        })
        .collect()
}

fn say_json(value: &Value) -> Result<(), AppError> {
    let text = serde_json::to_string_pretty(value)
        .map_err(|e| AppError::new(format!("the answer can't be written as JSON: {e}"), ""))?;
    // JSON's own writer leaves some controls as they are; they stand in texts only.
    let mut escaped = String::with_capacity(text.len() + 1);
    for c in text.chars() {
        if c.is_control() && c != '\n' {
            escaped.push_str(&format!("\\u{:04x}", u32::from(c)));
        } else {
            escaped.push(c);
        }
    }
    escaped.push('\n');
    write_out(escaped.as_bytes())
}

/// Writes to standard output; a reader that has gone away is no error.
fn write_out(bytes: &[u8]) -> Result<(), AppError> {
    let mut out = std::io::stdout().lock();
    match out.write_all(bytes).and_then(|()| out.flush()) {
        Ok(()) => Ok(()),
        Err(e) if e.kind() == std::io::ErrorKind::BrokenPipe => Ok(()),
        Err(e) => Err(AppError::new(
            format!("writing the answer failed: {e}"),
            "check where standard output goes",
        )),
    }
}
