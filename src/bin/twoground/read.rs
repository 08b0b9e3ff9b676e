//! `twoground read`: scans to pigment files, the same reading as the page's.

use std::fs::{self, File};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::SystemTime;

use lexopt::prelude::*;
use twoground::card::{
    Layout, cells, find,
    print::{self, Found},
};
use twoground::paint::{
    Record,
    file::{Finding, Label, ScannerKind},
};
use twoground::reading::{self, Answers};
use twoground::scan::{Scan, decode};
use twoground::{Error, Result};

use crate::{Failure, Outcome, numbers, say};

/// Most films that a card can have.
const MOST_FILMS: usize = 6;

/// What was asked for.
struct Wishes {
    scans: Vec<PathBuf>,
    out: PathBuf,
    films: Option<usize>,
    corners: Option<[[f64; 2]; 4]>,
    scanner: ScannerKind,
}

/// Reads every scan and writes a pigment file for each card. A scan without a readable card is told and makes the exit
/// code 1; the others are written all the same.
pub(crate) fn run(parser: lexopt::Parser) -> Outcome {
    let wishes = parse(parser)?;
    fs::create_dir_all(&wishes.out).map_err(|error| not_written(&wishes.out, &error))?;
    let mut code = ExitCode::SUCCESS;
    for scan in &wishes.scans {
        if !read_scan(scan, &wishes)? {
            code = ExitCode::FAILURE;
        }
    }
    Ok(code)
}

fn parse(mut parser: lexopt::Parser) -> std::result::Result<Wishes, Failure> {
    let mut wishes = Wishes {
        scans: Vec::new(),
        out: PathBuf::from("."),
        films: None,
        corners: None,
        scanner: ScannerKind::Unknown,
    };
    while let Some(arg) = parser.next()? {
        match arg {
            Long("out") => wishes.out = parser.value()?.into(),
            Long("films") => {
                let films = parser.value()?.parse()?;
                if !(1..=MOST_FILMS).contains(&films) {
                    return Err(Failure::Usage(format!(
                        "--films is a number from 1 to {MOST_FILMS}"
                    )));
                }
                wishes.films = Some(films);
            }
            Long("corners") => {
                let [a, b, c, d, e, f, g, h] = numbers(&parser.value()?).ok_or_else(|| {
                    Failure::Usage("--corners takes eight numbers, x,y,x,y,x,y,x,y, clockwise from the top left".into())
                })?;
                wishes.corners = Some([[a, b], [c, d], [e, f], [g, h]]);
            }
            Long("scanner") => {
                let name = parser.value()?.string()?;
                wishes.scanner = ScannerKind::named(&name.replace('-', "_")).ok_or_else(|| {
                    let names = ScannerKind::ALL.map(|kind| kind.name().replace('_', "-"));
                    Failure::Usage(format!("--scanner is one of {}", names.join(", ")))
                })?;
            }
            Value(scan) => wishes.scans.push(scan.into()),
            _ => return Err(arg.unexpected().into()),
        }
    }
    if wishes.scans.is_empty() {
        return Err(Failure::Usage("Name at least one scan to read".into()));
    }
    Ok(wishes)
}

/// Whether at least one card of the scan was read and its file written. Only standard output can fail.
fn read_scan(path: &Path, wishes: &Wishes) -> std::result::Result<bool, Failure> {
    let shown = path.display();
    let cards = match cards(path, wishes) {
        Ok(cards) => cards,
        Err(error) => {
            eprintln!("{shown}: {error}");
            return Ok(false);
        }
    };
    let mut any = false;
    for (i, card) in cards.into_iter().enumerate() {
        let n = i + 1;
        match card
            .and_then(|record| write(&record, path, n, &wishes.out).map(|file| (record, file)))
        {
            Ok((record, file)) => {
                any = true;
                say(&format!("{}\n", file.display()))?;
                for finding in &record.findings {
                    eprintln!("{shown}, card {n}: {}", finding.words);
                }
            }
            Err(error) => eprintln!("{shown}, card {n}: {error}"),
        }
    }
    Ok(any)
}

/// The one way from a scan's bytes to records.
fn cards(path: &Path, wishes: &Wishes) -> Result<Vec<Result<Record>>> {
    let bytes = fs::read(path).map_err(|error| Error::Outside {
        what: "The scan",
        doing: "could not be opened",
        reason: error.to_string(),
    })?;
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    let scan = decode::decode(&bytes, &name)?;
    drop(bytes);
    let when = humantime::format_rfc3339_seconds(SystemTime::now()).to_string();
    let answers = Answers {
        scanner: wishes.scanner,
        ..Answers::default()
    };
    Ok(layouts(&scan, wishes)?
        .iter()
        .map(|card| {
            let read = if wishes.films == Some(card.layout.films.len()) {
                // As many as were said to be there: none of them is left out.
                let sampled = cells::sample(&scan, &card.layout)?;
                reading::read_sampled(&scan, &card.layout, sampled, &answers)
            } else {
                reading::read_card(&scan, &card.layout, &answers)?
            };
            let mut record = read.record;
            record.provenance.when.clone_from(&when);
            record.findings.extend(asked(&read.layout, wishes));
            if let Some(printed) = &card.printed {
                printed.inscribe(&read.layout, &mut record);
            }
            Ok(record)
        })
        .collect())
}

fn layouts(scan: &Scan, wishes: &Wishes) -> Result<Vec<Found>> {
    match wishes.corners {
        Some(corners) => Ok(vec![Found {
            layout: find::within(scan, corners, wishes.films)?,
            printed: None,
        }]),
        None => print::find_with(scan, wishes.films),
    }
}

/// What the page would ask, which here nobody answers, and whether the films are as many as was said.
fn asked(layout: &Layout, wishes: &Wishes) -> Vec<Finding> {
    let doubts = layout.doubts.iter().map(|doubt| Finding {
        code: doubt.code.clone(),
        words: format!(
            "Not sure: {} Look at it on the page.",
            doubt.question(doubt.film)
        ),
    });
    let found = layout.films.len();
    let missed = wishes.films.filter(|&films| films != found).map(|films| Finding {
        code: "films-asked".to_owned(),
        words: format!(
            "{films} films were asked for and {found} found. Give the card's corners by --corners, or add and take away films on the page."
        ),
    });
    doubts.chain(missed).collect()
}

/// Writes `OUT/<scan>-<n>.json`. A file that is there already is written over only if it is a reading without a label:
/// anything else may be somebody's work.
fn write(record: &Record, scan: &Path, n: usize, out: &Path) -> Result<PathBuf> {
    let mut name = scan.file_stem().unwrap_or_default().to_owned();
    name.push(format!("-{n}.json"));
    let file = out.join(name);
    if file.exists() && !is_unlabelled_reading(&file) {
        return Err(not_written(
            &file,
            &"it is there already and is not a reading without a label; move it away, or name another folder with --out",
        ));
    }
    // Written beside and then renamed: a file is whole or not there.
    let half = file.with_extension("json.part");
    let whole = File::create(&half).and_then(|mut writer| {
        writer.write_all(record.write().as_bytes())?;
        writer.sync_all()?;
        fs::rename(&half, &file)
    });
    whole.map_err(|error| {
        // Half a file is worse than none; if it cannot even be removed, the first error says enough.
        let _ = fs::remove_file(&half);
        not_written(&file, &error)
    })?;
    Ok(file)
}

fn is_unlabelled_reading(file: &Path) -> bool {
    fs::read_to_string(file)
        .ok()
        .and_then(|text| Record::read(&text).ok())
        .is_some_and(|record| record.paint == Label::default())
}

fn not_written(path: &Path, reason: &dyn std::fmt::Display) -> Error {
    Error::Outside {
        what: "The pigment file",
        doing: "could not be written",
        reason: format!("{}: {reason}", path.display()),
    }
}
