//! `twoground glaze`: films of kept paints over one colour.

use std::ffi::OsString;
use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use lexopt::prelude::*;
use nalgebra::Matrix3;
use serde_json::json;
use twoground::colour::Lab;
use twoground::paint::{Record, file};
use twoground::picture::{self, Ground, ground::Measured};
use twoground::{Error, Result};

use crate::{Failure, Outcome, numbers, say};

/// What was asked for.
struct Wishes {
    /// Files of the paints, the lowest film first: all readings of each.
    pigments: Vec<Vec<PathBuf>>,
    over: Lab,
    /// Standard deviation of each of its L*, a*, b*.
    over_sd: f64,
    builds: Vec<f64>,
    json: bool,
}

/// Predicts and prints.
pub(crate) fn run(parser: lexopt::Parser) -> Outcome {
    let wishes = parse(parser)?;
    let mut records: Vec<Vec<Record>> = Vec::with_capacity(wishes.pigments.len());
    for paths in &wishes.pigments {
        let mut readings = Vec::with_capacity(paths.len());
        for path in paths {
            match read(path) {
                Ok(record) => readings.push(record),
                Err(error) => {
                    eprintln!("{}: {error}", path.display());
                    return Ok(ExitCode::FAILURE);
                }
            }
        }
        records.push(readings);
    }
    let tubes: Vec<Vec<&Record>> = records.iter().map(|of| of.iter().collect()).collect();
    let tubes: Vec<&[&Record]> = tubes.iter().map(Vec::as_slice).collect();
    let ground = Ground::measured(&Measured {
        lab: wishes.over,
        spread: Matrix3::from_diagonal_element(wishes.over_sd * wishes.over_sd),
        surface: file::Surface::Glossy,
        spectrum: None,
    });
    let answer = picture::answer_by(&tubes, &wishes.builds, &ground)?;
    let lab = answer.predicted.lab;
    let (lab, range) = ([lab.l, lab.a, lab.b], answer.predicted.range);
    let verdict = answer.verdict.word();
    if wishes.json {
        let answer = json!({
            "lab": lab.map(hundredths),
            "de00_90": hundredths(range),
            "verdict": verdict,
            "notes": answer.notes,
        });
        return say(&format!("{answer}\n"));
    }
    let [l, a, b] = lab.map(tenths);
    let mut words = format!(
        "L* {l}, a* {a}, b* {b} (D50): {verdict}.\nNine times in ten within {} (CIEDE2000).\n",
        tenths(range)
    );
    for note in &answer.notes {
        words += note;
        words.push('\n');
    }
    say(&words)
}

fn parse(mut parser: lexopt::Parser) -> std::result::Result<Wishes, Failure> {
    let (mut pigments, mut over, mut builds, mut json) = (Vec::new(), None, Vec::new(), false);
    let mut over_sd = 0.0;
    while let Some(arg) = parser.next()? {
        match arg {
            Long("over") => over = Some(lab(&parser.value()?)?),
            Long("over-sd") => over_sd = parser.value()?.parse()?,
            Long("film") => builds.push(parser.value()?.parse()?),
            Long("json") => json = true,
            Value(pigment) => pigments.push(readings(pigment)),
            _ => return Err(arg.unexpected().into()),
        }
    }
    let usage = |words: &str| Err(Failure::Usage(words.into()));
    let Some(over) = over else {
        return usage("Name the colour below with --over L,a,b");
    };
    if !(0.0..=50.0).contains(&over_sd) {
        return usage(
            "--over-sd takes a number from 0 to 50: how far each of L*, a*, b* may be off",
        );
    }
    if pigments.is_empty() {
        return usage("Name at least one pigment file");
    }
    if builds.is_empty() {
        builds = vec![1.0; pigments.len()];
    }
    if builds.len() != pigments.len() {
        return usage("Give --film once for every pigment file, or not at all");
    }
    Ok(Wishes {
        pigments,
        over,
        over_sd,
        builds,
        json,
    })
}

/// The files of one film: several readings of its tube are joined by `+`, unless that is the name of a file.
fn readings(joined: OsString) -> Vec<PathBuf> {
    let path = PathBuf::from(&joined);
    match joined.to_str() {
        Some(names) if names.contains('+') && !path.exists() => {
            names.split('+').map(PathBuf::from).collect()
        }
        _ => vec![path],
    }
}

fn lab(value: &std::ffi::OsStr) -> std::result::Result<Lab, Failure> {
    numbers(value)
        .filter(|[l, a, b]| (0.0..=100.0).contains(l) && a.abs() <= 200.0 && b.abs() <= 200.0)
        .map(|[l, a, b]| Lab::new(l, a, b))
        .ok_or_else(|| {
            Failure::Usage(
                "--over takes L*,a*,b* of the colour below, for example 60,0,0; L* from 0 to 100"
                    .into(),
            )
        })
}

fn read(path: &Path) -> Result<Record> {
    let outside = |error: std::io::Error| Error::Outside {
        what: "The pigment file",
        doing: "could not be opened",
        reason: error.to_string(),
    };
    let mut bytes = Vec::new();
    // One byte more than is allowed shows that it is too large, whatever is at the path.
    File::open(path)
        .and_then(|f| f.take(file::LARGEST as u64 + 1).read_to_end(&mut bytes))
        .map_err(outside)?;
    // What is not UTF-8 is not JSON either, and is refused as such.
    Record::read(&String::from_utf8_lossy(&bytes))
}

/// For programs: two decimals, and no minus before a zero.
fn hundredths(value: f64) -> f64 {
    (value * 100.0).round() / 100.0 + 0.0
}

/// For people, as on the page: one decimal, and no minus before a zero.
fn tenths(value: f64) -> String {
    match format!("{value:.1}") {
        text if text == "-0.0" => "0.0".into(),
        text => text,
    }
}
