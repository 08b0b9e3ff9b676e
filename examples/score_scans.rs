//! Reads every scan of a folder that has a truth beside it and says how near the reading came: edges, cells, predictions.
//!
//! `cargo run --example score_scans -- FOLDER... [--each] [--table] [--classes] [--told] [--cells FILE]`. The scans come from
//! `make_samples` and `make_trials`. `--each` prints a line a card, `--table` a Markdown table by trouble, `--classes` one by kinds
//! of paints, films and grounds, `--told` answers what kind of scanner it was, `--cells` writes every cell beside its truth as CSV.

use std::{
    collections::{BTreeMap, BTreeSet},
    fmt::Write as _,
    path::{Path, PathBuf},
    time::Instant,
};

use serde_json::Value;
use twoground::{
    card::{Ground, Layout, find},
    paint::file::ScannerKind,
    reading::{self, Answers, Reading},
    scan::{Scan, decode},
};

#[path = "../tests/support/score.rs"]
mod score;
#[path = "../tests/support/sets.rs"]
mod sets;
#[path = "../tests/support/truth.rs"]
mod truth;

use score::{Class, Tally};
use truth::{Numbers, floats, list, numbers, percentile, share, turned, worst_edges};

/// What came of one card.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Found {
    /// Every edge within 1 mm and all counts right, no question asked.
    Right,
    /// Something is off or unsure, and the reader asked.
    Asked,
    /// Something is off and nothing was said.
    Wrong,
    /// No card, or no films: said so.
    Refused,
}

/// One card's score.
struct Score {
    found: Found,
    troubles: BTreeSet<String>,
    class: Class,
    films: usize,
    numbers: Numbers,
    codes: BTreeSet<&'static str>,
}

#[derive(Default)]
struct Options {
    folders: Vec<String>,
    each: bool,
    table: bool,
    classes: bool,
    told: bool,
    cells: Option<String>,
}

fn options() -> Options {
    let mut options = Options::default();
    let mut arguments = std::env::args().skip(1);
    while let Some(word) = arguments.next() {
        match word.as_str() {
            "--each" => options.each = true,
            "--table" => options.table = true,
            "--classes" => options.classes = true,
            "--told" => options.told = true,
            "--cells" => options.cells = arguments.next(),
            _ => options.folders.push(word),
        }
    }
    options
}

#[allow(clippy::print_stdout)]
fn main() {
    let options = options();
    let mut scores: Vec<Score> = Vec::new();
    let mut spent = [0.0; 3];
    let mut csv = String::from(CSV_HEAD);
    let (mut scans, mut phantoms, mut disordered) = (0, 0, 0);
    for path in options.folders.iter().flat_map(|f| scans_of(Path::new(f))) {
        scans += 1;
        let truth: Value = serde_json::from_str(
            &std::fs::read_to_string(path.with_extension("json")).expect("truth"),
        )
        .expect("JSON");
        let name = path
            .file_name()
            .map(|n| n.to_string_lossy().into_owned())
            .unwrap_or_default();
        let cards = list(&truth["cards"]);
        let bytes = std::fs::read(&path).expect("a readable file");
        let start = Instant::now();
        let scan = decode::decode(&bytes, &name);
        spent[0] += start.elapsed().as_secs_f64();
        let start = Instant::now();
        let layouts = scan.as_ref().map_or_else(
            |e| Err(e.to_string()),
            |scan| find::find(scan).map_err(|e| e.code().into()),
        );
        spent[1] += start.elapsed().as_secs_f64();
        let (layouts, refusal) = match layouts {
            Ok(layouts) => (layouts, String::new()),
            Err(words) => (Vec::new(), words),
        };
        let answers = Answers {
            scanner: if options.told {
                kind_of_scanner(&truth)
            } else {
                ScannerKind::Unknown
            },
            ..Answers::default()
        };
        let owners: Vec<Option<usize>> = layouts.iter().map(|l| owner(l, cards)).collect();
        for (layout, _) in layouts.iter().zip(&owners).filter(|(_, o)| o.is_none()) {
            phantoms += 1;
            if options.each {
                println!("{name} a card where none is, asks {:?}", codes_of(layout));
            }
        }
        disordered += usize::from(!in_reading_order(cards, &owners));
        for (i, card) in cards.iter().enumerate() {
            let troubles: BTreeSet<String> = troubles(&truth);
            let mine = owners.iter().position(|o| *o == Some(i));
            let (score, line) = match (mine, &scan) {
                (Some(k), Ok(scan)) => {
                    let start = Instant::now();
                    let result = one(
                        scan,
                        &layouts[k],
                        card,
                        troubles,
                        &answers,
                        &mut |reading| {
                            cells_csv(&mut csv, &format!("{name}#{i}"), reading, card, &truth);
                        },
                    );
                    spent[2] += start.elapsed().as_secs_f64();
                    result
                }
                _ => (
                    Score {
                        found: if layouts.is_empty() {
                            Found::Refused
                        } else {
                            Found::Wrong
                        },
                        troubles,
                        class: class_of(card),
                        films: list(&card["films"]).len(),
                        numbers: Numbers::default(),
                        codes: BTreeSet::new(),
                    },
                    if layouts.is_empty() {
                        refusal.clone()
                    } else {
                        "not found".into()
                    },
                ),
            };
            if options.each {
                println!(
                    "{name}#{i} {:?} {line} [{}]",
                    score.found,
                    card["paint"].as_str().unwrap_or("")
                );
                if matches!(score.found, Found::Wrong | Found::Refused) {
                    println!("      {}", truth["troubles"]);
                }
            }
            scores.push(score);
        }
    }
    summary(&scores, scans, phantoms, disordered, spent);
    if options.table {
        println!("\n{}\n{}", table(&scores), alarms(&scores));
    }
    if options.classes {
        println!("\n{}", classes(&scores));
    }
    if let Some(file) = options.cells {
        std::fs::write(file, csv).expect("a file that can be written");
    }
}

fn scans_of(folder: &Path) -> Vec<PathBuf> {
    let mut files: Vec<_> = std::fs::read_dir(folder)
        .expect("a folder")
        .filter_map(|e| Some(e.ok()?.path()))
        .filter(|p| {
            p.extension().is_some_and(|e| e != "json" && e != "md")
                && p.with_extension("json").exists()
        })
        .collect();
    files.sort();
    files
}

/// The troubles of a scan, and its sensor.
fn troubles(truth: &Value) -> BTreeSet<String> {
    let sensor = truth["scene"]["scanner"]["sensor"].as_str().unwrap_or("");
    let words = list(&truth["troubles"]).iter().filter_map(Value::as_str);
    words
        .map(str::to_owned)
        .chain([format!("sensor: {sensor}")])
        .collect()
}

/// What a painter who knows the scanner would answer.
fn kind_of_scanner(truth: &Value) -> ScannerKind {
    match truth["scene"]["scanner"]["sensor"].as_str() {
        Some("Lamp" | "WhiteLed") => ScannerKind::WhiteLight,
        Some("ThreeLeds") => ScannerKind::ThreeLights,
        _ => ScannerKind::WhiteLight,
    }
}

fn middle(corners: &[[f64; 2]]) -> [f64; 2] {
    [0, 1].map(|axis| corners.iter().map(|c| c[axis]).sum::<f64>() / corners.len() as f64)
}

/// The card whose squared area holds the middle of a layout.
fn owner(layout: &Layout, cards: &[Value]) -> Option<usize> {
    let at = middle(&layout.corners);
    let holds = |card: &Value| {
        let corners: Vec<Vec<f64>> = list(&card["corners"]).iter().map(floats).collect();
        (0..4).all(|i| {
            let (a, b) = (&corners[i], &corners[(i + 1) % 4]);
            (b[0] - a[0]) * (at[1] - a[1]) - (b[1] - a[1]) * (at[0] - a[0]) > 0.0
        })
    };
    cards.iter().position(holds)
}

/// Whether no card comes before another one that lies wholly above it, or in one row with it and left of it.
fn in_reading_order(cards: &[Value], owners: &[Option<usize>]) -> bool {
    let bounds = |i: usize| {
        let corners: Vec<Vec<f64>> = list(&cards[i]["corners"]).iter().map(floats).collect();
        let end = |axis: usize, pick: fn(f64, f64) -> f64| {
            corners.iter().map(|c| c[axis]).reduce(pick).unwrap_or(0.0)
        };
        [
            end(0, f64::min),
            end(0, f64::max),
            end(1, f64::min),
            end(1, f64::max),
        ]
    };
    let order: Vec<[f64; 4]> = owners.iter().flatten().map(|&i| bounds(i)).collect();
    let before = |a: &[f64; 4], b: &[f64; 4]| {
        let apart = a[3] < b[2] || b[3] < a[2];
        if apart { a[3] < b[2] } else { a[0] < b[0] }
    };
    order.windows(2).all(|pair| before(&pair[0], &pair[1]))
}

fn codes_of(layout: &Layout) -> Vec<&str> {
    layout.doubts.iter().map(|d| d.code.as_str()).collect()
}

fn one(
    scan: &Scan,
    layout: &Layout,
    card: &Value,
    troubles: BTreeSet<String>,
    answers: &Answers,
    also: &mut dyn FnMut(&Reading),
) -> (Score, String) {
    let read = reading::read_card(scan, layout, answers);
    // What was found and is no film may have been left out.
    let layout = read.as_ref().map_or(layout, |read| &read.layout);
    let turned = turned(layout, card);
    let (films, stripes) = worst_edges(layout, card);
    let right = films.is_some_and(|e| e < 1.0) && stripes.is_some_and(|e| e < 1.0);
    let asked = !layout.doubts.is_empty()
        || layout
            .films
            .iter()
            .any(|f| f.top.doubtful || f.bottom.doubtful);
    let found = match (right, asked) {
        (true, false) => Found::Right,
        (_, true) => Found::Asked,
        (false, false) => Found::Wrong,
    };
    let mut score = Score {
        found,
        troubles,
        class: class_of(card),
        films: list(&card["films"]).len(),
        numbers: Numbers::default(),
        codes: BTreeSet::new(),
    };
    let mut line = format!(
        "films {}/{} edges {films:.2?} stripes {stripes:.2?}",
        layout.films.len(),
        list(&card["films"]).len()
    );
    for code in codes_of(layout) {
        let _ = write!(line, " ?{code}");
    }
    match &read {
        Ok(read) => {
            let _ = write!(
                line,
                " white {:.3} perspective {:.4} {:?} {:?}",
                read.sampled.white.xyz[1],
                layout.perspective(),
                read.record.state,
                read.record.opacity.grade
            );
            score.codes = read.findings.iter().map(|f| f.code).collect();
            for code in &score.codes {
                let _ = write!(line, " !{code}");
            }
            let misfit = read.record.cells.iter().map(|c| c.de00).fold(0.0, f64::max);
            let _ = write!(line, " misfit {misfit:.1}");
            if right {
                also(read);
                numbers(read, card, turned, &mut score.numbers);
                let mine = &score.numbers;
                let _ = write!(
                    line,
                    " error median {:.2} 95th {:.2} cells {:.2} held {:.2}",
                    percentile(&mine.errors, 0.5),
                    percentile(&mine.errors, 0.95),
                    percentile(&mine.cells, 0.95),
                    share(&mine.held)
                );
            }
        }
        Err(e) => {
            let _ = write!(line, " {e}");
        }
    }
    (score, line)
}

const CSV_HEAD: &str = "card,film,ground,x,y,z,sd_x,sd_y,sd_z,true_x,true_y,true_z,white_y,true_white_y,black_y,true_black_y,pixels,rejected,troubles\n";

/// Every cell beside its truth.
fn cells_csv(csv: &mut String, name: &str, reading: &Reading, card: &Value, truth: &Value) {
    let films = list(&card["films"]).len();
    let turned = turned(&reading.layout, card);
    let join = |v: &[f64]| {
        v.iter()
            .map(|v| format!("{v:.6}"))
            .collect::<Vec<_>>()
            .join(",")
    };
    let words: Vec<String> = troubles(truth).into_iter().collect();
    for cell in &reading.sampled.pooled {
        let film = if turned {
            films - 1 - cell.film
        } else {
            cell.film
        };
        let ground = if cell.ground == Ground::White {
            "white"
        } else {
            "black"
        };
        let same = list(&card["cells"]).iter().find(|c| {
            c["film"].as_u64() == Some(film as u64) && c["ground"].as_str() == Some(ground)
        });
        let Some(same) = same else { continue };
        let bare = [
            reading.sampled.white.xyz[1],
            floats(&card["white_xyz"])[1],
            reading.sampled.black.xyz[1],
            floats(&card["black_xyz"])[1],
        ];
        let _ = writeln!(
            csv,
            "{name},{film},{ground},{},{},{},{},{},{:.4},{}",
            join(&cell.xyz),
            join(&cell.xyz_sd),
            join(&floats(&same["drawn_xyz"])),
            join(&bare),
            cell.pixels,
            cell.rejected_share,
            words.join(";")
        );
    }
}

/// Numbers of many cards.
fn together<'a>(scores: impl Iterator<Item = &'a Score>) -> Numbers {
    let mut all = Numbers::default();
    for Score { numbers, .. } in scores {
        all.errors.extend(&numbers.errors);
        all.held.extend(&numbers.held);
        all.ranges.extend(&numbers.ranges);
        all.over.extend(&numbers.over);
        all.cells.extend(&numbers.cells);
        all.cells_held.extend(&numbers.cells_held);
        all.constants_held.extend(&numbers.constants_held);
        all.builds_held.extend(&numbers.builds_held);
    }
    all
}

#[allow(clippy::print_stdout)]
fn summary(scores: &[Score], scans: usize, phantoms: usize, disordered: usize, spent: [f64; 3]) {
    let mut found: BTreeMap<Found, usize> = BTreeMap::new();
    let mut codes: BTreeMap<&str, usize> = BTreeMap::new();
    for score in scores {
        *found.entry(score.found).or_default() += 1;
        for code in &score.codes {
            *codes.entry(code).or_default() += 1;
        }
    }
    println!(
        "{scans} scans, {} cards: {found:?}; cards where none is: {phantoms}; scans out of order: {disordered}",
        scores.len()
    );
    let pooled = together(scores.iter());
    println!(
        "predictions: median {:.2} 95th {:.2}; range held {:.3}, median width {:.2}; cells: median {:.2} 95th {:.2}, held {:.3}; K and S held {:.3}, builds held {:.3}",
        percentile(&pooled.errors, 0.5),
        percentile(&pooled.errors, 0.95),
        share(&pooled.held),
        percentile(&pooled.ranges, 0.5),
        percentile(&pooled.cells, 0.5),
        percentile(&pooled.cells, 0.95),
        share(&pooled.cells_held),
        share(&pooled.constants_held),
        share(&pooled.builds_held),
    );
    println!("findings: {codes:?}");
    println!(
        "seconds: decode {:.2}, find {:.2}, sample and fit {:.2}",
        spent[0], spent[1], spent[2]
    );
}

/// Markdown: a row a trouble.
fn table(scores: &[Score]) -> String {
    let mut text = String::from(
        "| trouble | cards | found | asked | wrong | refused | cells within range | predictions: median | 95th | range held |\n|---|---|---|---|---|---|---|---|---|---|\n",
    );
    let mut row = |name: &str, of: Vec<&Score>| {
        let count = |what: Found| of.iter().filter(|s| s.found == what).count();
        let all = together(of.iter().copied());
        let _ = writeln!(
            text,
            "| {name} | {} | {} | {} | {} | {} | {:.0} % | {:.2} | {:.1} | {:.0} % |",
            of.len(),
            count(Found::Right),
            count(Found::Asked),
            count(Found::Wrong),
            count(Found::Refused),
            100.0 * share(&all.cells_held),
            percentile(&all.errors, 0.5),
            percentile(&all.errors, 0.95),
            100.0 * share(&all.held),
        );
    };
    row("all", scores.iter().collect());
    let names: BTreeSet<&String> = scores.iter().flat_map(|s| &s.troubles).collect();
    for name in names {
        row(
            name,
            scores
                .iter()
                .filter(|s| s.troubles.contains(name))
                .collect(),
        );
    }
    text
}

/// What the paint of a card is, its middle film taken for the unit.
fn class_of(card: &Value) -> Class {
    let films = list(&card["films"]).iter();
    let mut builds: Vec<f64> = films.filter_map(|f| f["build"].as_f64()).collect();
    builds.sort_by(f64::total_cmp);
    let unit = builds.get(builds.len() / 2).copied().unwrap_or(1.0);
    let of = |what: &str| std::array::from_fn(|band| unit * floats(&card[what])[band]);
    Class::of(&of("absorption"), &of("scattering"))
}

/// Markdown: how predictions do by what the paint is, how thick the film, what the ground and how many films on the card.
fn classes(scores: &[Score]) -> String {
    let mut text = String::from(
        "| what | cards | predictions: median | 95th | range held | median width |\n|---|---|---|---|---|---|\n",
    );
    let mut row = |name: &str, of: &dyn Fn(&Score) -> bool, which: &dyn Fn((f64, bool)) -> bool| {
        let mut tally = Tally::new();
        let mut cards = 0;
        for score in scores
            .iter()
            .filter(|s| !s.numbers.errors.is_empty() && of(s))
        {
            cards += 1;
            let told = score.numbers.errors.iter().zip(&score.numbers.ranges);
            for ((&error, &range), &over) in told.zip(&score.numbers.over) {
                if which(over) {
                    tally.add(error, range);
                }
            }
        }
        if !tally.errors.is_empty() {
            let _ = writeln!(
                text,
                "| {name} | {cards} | {:.2} | {:.1} | {:.0} % | {:.1} |",
                tally.median(),
                tally.high(),
                100.0 * tally.held(),
                tally.width()
            );
        }
    };
    row("all", &|_| true, &|_| true);
    for class in Class::ALL {
        row(class.name(), &|s| s.class == class, &|_| true);
    }
    for (name, films) in [
        ("one film on the card", 1..2),
        ("two films", 2..3),
        ("three and more films", 3..99),
    ] {
        row(name, &|s| films.contains(&s.films), &|_| true);
    }
    for (name, builds) in [
        ("up to 0.4 of the unit", 0.0..0.4),
        ("0.4 to 0.75", 0.4..0.75),
        ("0.75 to 1.5", 0.75..1.5),
        ("1.5 to 3", 1.5..3.0),
        ("3 and more", 3.0..f64::INFINITY),
    ] {
        row(name, &|_| true, &|(build, _)| builds.contains(&build));
    }
    row("coloured grounds", &|_| true, &|(_, coloured)| coloured);
    row("greys", &|_| true, &|(_, coloured)| !coloured);
    text
}

/// What every finding is about: a word in the names of the troubles that it should be seen with.
const ABOUT: [(&str, &[&str]); 16] = [
    ("not-modelled", &["fluorescent"]),
    ("stretched", &["automatic contrast"]),
    (
        "darks-cut",
        &["darks clipped", "too low", "automatic contrast"],
    ),
    (
        "black-deep",
        &["darks clipped", "too low", "automatic contrast"],
    ),
    ("clipped-darks", &["darks clipped", "automatic contrast"]),
    ("clipped-lights", &["lights clipped", "automatic contrast"]),
    ("tone-mapped", &["tone mapping"]),
    ("under-plastic", &["plastic"]),
    ("sharpened", &["sharpening"]),
    ("ink-smeared", &["smeared"]),
    ("dull", &["dull"]),
    ("shading", &["shading"]),
    ("dirt", &["dust", "bubbles", "hairs"]),
    ("black-not-black", &["black 0.11", "plastic"]),
    ("white-brightened", &["brightened"]),
    ("white-yellowed", &["yellowed"]),
];

/// Markdown: how often every finding is made where its trouble is, and where it is not.
fn alarms(scores: &[Score]) -> String {
    let mut text = String::from(
        "| finding | with its trouble | seen | without | seen all the same |\n|---|---|---|---|---|\n",
    );
    for (code, words) in ABOUT {
        let has = |s: &&Score| {
            s.troubles
                .iter()
                .any(|t| words.iter().any(|w| t.contains(w)))
        };
        let (with, without): (Vec<&Score>, Vec<&Score>) = scores
            .iter()
            .filter(|s| matches!(s.found, Found::Right | Found::Asked))
            .partition(has);
        let seen = |of: &[&Score]| of.iter().filter(|s| s.codes.contains(code)).count();
        let _ = writeln!(
            text,
            "| `{code}` | {} | {} | {} | {} |",
            with.len(),
            seen(&with),
            without.len(),
            seen(&without)
        );
    }
    text
}
