//! Draws `www/sure.svg`, the stated range against the real error, and puts the same numbers into the tables of the page *How sure* and
//! of the README. Everything is made anew: the development sets, stacks, and some two hundred rendered scans.
//!
//! `cargo run --release --example draw_sure` (minutes).

#[path = "../tests/support/score.rs"]
mod score;
#[path = "../tests/support/sets.rs"]
mod sets;
#[path = "../tests/support/simple_ways.rs"]
mod simple_ways;
#[path = "../tests/support/stacks.rs"]
mod stacks;
#[path = "../tests/support/truth.rs"]
mod truth;

use std::error::Error;

use plotters::{
    prelude::*,
    style::text_anchor::{HPos, Pos, VPos},
};
use score::Tally;
use sets::{DRAWS, Set, percentile};
use truth::Numbers;
use twoground::{
    card::find,
    reading::{self, Answers},
    scan::decode,
    simulate::{Scene, render, sensor::Kind, trials, troubles},
};

/// Resolution of the rendered scans.
const DPI: f64 = 125.0;
/// Seeds that no other program here renders.
const CAREFUL: std::ops::Range<u64> = 70_000..70_024;
const RANDOM: std::ops::Range<u64> = 71_000..71_100;

#[allow(clippy::print_stdout)]
fn main() -> Result<(), Box<dyn Error>> {
    let one = one_film();
    let stacked = stacked();
    let careful = |change: fn(&mut Scene)| {
        scans(CAREFUL.map(|seed| {
            let mut scene = troubles::plain(seed, DPI);
            change(&mut scene);
            scene
        }))
    };
    let ideal = careful(|_| {});
    let white_led = careful(|s| s.scanner.sensor = Kind::WhiteLed);
    let lamp = careful(|s| s.scanner.sensor = Kind::Lamp);
    let three_leds = careful(|s| s.scanner.sensor = Kind::ThreeLeds);
    let random = scans(RANDOM.map(|seed| trials::scene(seed, DPI)));
    let rows = [
        ("Exact colours, one film", &one),
        ("Exact colours, two or three films", &stacked),
        ("Careful scans, an ideal scanner", &ideal),
        ("with a white LED", &white_led),
        ("with a lamp", &lamp),
        ("with three narrow LEDs", &three_leds),
        ("Careless scans, many troubles at once", &random),
    ];
    let numbers = |t: &Tally| {
        let errors = [t.median(), t.high(), t.width()].map(|v| format!("{v:.1}"));
        [errors.to_vec(), vec![format!("{:.0} %", 100.0 * t.held())]].concat()
    };
    let html = rows.map(|(what, t)| {
        let cells: String = numbers(t).iter().map(|v| format!("<td>{v}</td>")).collect();
        format!("            <tr><th scope=\"row\">{what}</th>{cells}</tr>\n")
    });
    let markdown = rows.map(|(what, t)| format!("| {what} | {} |\n", numbers(t).join(" | ")));
    put(
        "www/index.html",
        "<table class=\"numbers sure\">",
        "<tbody>\n",
        "          </tbody>",
        &html.concat(),
    )?;
    put(
        "README.md",
        "| simulated |",
        "---|\n",
        "\n",
        &markdown.concat(),
    )?;
    print!("{}", markdown.concat());
    let mut exact = one;
    exact.append(&stacked);
    let mut scanned = Tally::new();
    for t in [&ideal, &white_led, &lamp, &three_leds, &random] {
        scanned.append(t);
    }
    let svg = picture(&exact, &scanned)?;
    std::fs::write(concat!(env!("CARGO_MANIFEST_DIR"), "/www/sure.svg"), svg)?;
    Ok(())
}

/// Puts rows of a table in the place of those between `from` and `to`, after `mark`, in a file of the project.
fn put(file: &str, mark: &str, from: &str, to: &str, rows: &str) -> Result<(), Box<dyn Error>> {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join(file);
    let text = std::fs::read_to_string(&path)?;
    let after = |start: usize, words: &str| {
        text[start..]
            .find(words)
            .map(|at| start + at)
            .ok_or(format!("{file} has no {words:?}"))
    };
    let start = after(after(0, mark)?, from)? + from.len();
    // The end of a Markdown table is an empty line.
    let end = if to == "\n" {
        after(start, "\n\n")? + 1
    } else {
        after(start, to)?
    };
    std::fs::write(&path, [&text[..start], rows, &text[end..]].concat())?;
    Ok(())
}

/// All development sets, a quarter to four times the card's film.
fn one_film() -> Tally {
    let mut tally = Tally::new();
    for set in ["cards", "second", "forward"]
        .map(Set::load)
        .iter()
        .chain([&stacks::own_set()])
    {
        for paint in &set.paints {
            for draw in 0..DRAWS {
                tally.append(&score::tally(
                    &score::predictions(set, paint, draw, 3),
                    |_| true,
                ));
            }
        }
    }
    tally
}

fn stacked() -> Tally {
    let mut tally = Tally::new();
    for set in [stacks::stored()].into_iter().chain(stacks::invented(20)) {
        for draw in 0..3 {
            tally.append(&set.score(&set.fitted(&set.cells(Some(draw))), &set.coloured()));
        }
    }
    tally
}

/// Predictions from every card that is found where it lies.
fn scans(scenes: impl Iterator<Item = Scene>) -> Tally {
    let mut numbers = Numbers::default();
    for scene in scenes {
        let rendered = render(&scene);
        let name = format!("card.{}", scene.file.kind.extension());
        let bytes = rendered.bytes().expect("a file");
        let truth: serde_json::Value = serde_json::from_str(&rendered.truth.json()).expect("JSON");
        let scan = decode::decode(&bytes, &name).expect("a picture");
        for layout in find::find(&scan).unwrap_or_default() {
            for card in truth::list(&truth["cards"]) {
                let (films, stripes) = truth::worst_edges(&layout, card);
                if ![films, stripes]
                    .iter()
                    .all(|edge| edge.is_some_and(|mm| mm < 1.0))
                {
                    continue;
                }
                if let Ok(reading) = reading::read_card(&scan, &layout, &Answers::default()) {
                    truth::numbers(&reading, card, truth::turned(&layout, card), &mut numbers);
                }
            }
        }
    }
    Tally {
        errors: numbers.errors,
        ranges: numbers.ranges,
    }
}

const INK: RGBColor = RGBColor(0, 0, 0);
/// The page's grey, so that the picture reads the same on any other page.
const PAGE: RGBColor = RGBColor(0x97, 0x97, 0x97);
const SIZE: (u32, u32) = (500, 470);
/// Ends of both axes, CIEDE2000.
const ENDS: (f64, f64) = (0.25, 40.0);
/// Dots drawn of each kind.
const DOTS: usize = 420;

/// Stated range across, real error upwards: dots for single predictions from scans, and what nine in ten of all predictions with
/// about that range stay below.
fn picture(exact: &Tally, scanned: &Tally) -> Result<String, Box<dyn Error>> {
    let mut svg = String::new();
    {
        let root = SVGBackend::with_string(&mut svg, SIZE).into_drawing_area();
        root.fill(&PAGE)?;
        let mut chart = ChartBuilder::on(&root)
            .margin_top(16)
            .margin_right(22)
            .margin_bottom(64)
            .margin_left(50)
            .build_cartesian_2d((ENDS.0..ENDS.1).log_scale(), (ENDS.0..ENDS.1).log_scale())?;
        let text = |words: &str, at: (i32, i32), across: HPos, down: VPos, size: i32| {
            let style = ("sans-serif", size)
                .into_font()
                .color(&INK)
                .pos(Pos::new(across, down));
            root.draw_text(words, &style, at)
        };
        for tick in [0.5, 1.0, 2.0, 5.0, 10.0, 20.0] {
            let grid = INK.mix(0.16);
            chart.draw_series(LineSeries::new([(ENDS.0, tick), (ENDS.1, tick)], grid))?;
            chart.draw_series(LineSeries::new([(tick, ENDS.0), (tick, ENDS.1)], grid))?;
            let (left, foot) = (
                chart.backend_coord(&(ENDS.0, tick)),
                chart.backend_coord(&(tick, ENDS.0)),
            );
            text(
                &tick.to_string(),
                (left.0 - 8, left.1),
                HPos::Right,
                VPos::Center,
                23,
            )?;
            text(
                &tick.to_string(),
                (foot.0, foot.1 + 8),
                HPos::Center,
                VPos::Top,
                23,
            )?;
        }
        let foot = chart.backend_coord(&(libm::sqrt(ENDS.0 * ENDS.1), ENDS.0));
        text(
            "range as stated, CIEDE2000",
            (foot.0, foot.1 + 34),
            HPos::Center,
            VPos::Top,
            23,
        )?;
        let top = chart.backend_coord(&(ENDS.0, ENDS.1));
        text(
            "how far off it really was",
            (top.0 + 8, top.1 + 6),
            HPos::Left,
            VPos::Top,
            23,
        )?;

        // Errors too small for the axis lie on its foot.
        let step = scanned.errors.len().div_ceil(DOTS).max(1);
        let dots = scanned.ranges.iter().zip(&scanned.errors).step_by(step);
        chart.draw_series(dots.map(|(&range, &error)| {
            let at = (range.clamp(ENDS.0, ENDS.1), error.clamp(ENDS.0, ENDS.1));
            Circle::new(at, 2, INK.mix(0.35).filled())
        }))?;
        chart.draw_series(LineSeries::new(
            [(ENDS.0, ENDS.0), (ENDS.1, ENDS.1)],
            INK.stroke_width(1),
        ))?;
        let (exact, scanned) = (nine_in_ten(exact), nine_in_ten(scanned));
        chart.draw_series(DashedLineSeries::new(
            exact.iter().copied(),
            9,
            5,
            INK.stroke_width(3),
        ))?;
        chart.draw_series(LineSeries::new(
            scanned.iter().copied(),
            INK.stroke_width(4),
        ))?;
        let key = (top.0 + 12, top.1 + 44);
        for x in [0, 14, 28] {
            let dash = [(key.0 + x, key.1), (key.0 + x + 9, key.1)];
            root.draw(&PathElement::new(dash, INK.stroke_width(3)))?;
        }
        let path = PathElement::new(
            [(key.0, key.1 + 26), (key.0 + 46, key.1 + 26)],
            INK.stroke_width(4),
        );
        root.draw(&path)?;
        for (row, words) in [
            "9 in 10 of exact colours",
            "9 in 10 of scans",
            "some scans",
            "off by just the range",
        ]
        .iter()
        .enumerate()
        {
            text(
                words,
                (key.0 + 58, key.1 + 26 * row as i32),
                HPos::Left,
                VPos::Center,
                22,
            )?;
        }
        root.draw(&Circle::new(
            (key.0 + 23, key.1 + 52),
            2,
            INK.mix(0.5).filled(),
        ))?;
        root.draw(&PathElement::new(
            [(key.0, key.1 + 86), (key.0 + 46, key.1 + 70)],
            INK.stroke_width(1),
        ))?;
        root.present()?;
    }
    Ok(svg)
}

/// In twelve groups of equal count by stated range: its median, and what nine in ten errors of the group stay below.
fn nine_in_ten(tally: &Tally) -> Vec<(f64, f64)> {
    let mut pairs: Vec<(f64, f64)> = tally
        .ranges
        .iter()
        .copied()
        .zip(tally.errors.iter().copied())
        .collect();
    pairs.sort_by(|a, b| a.0.total_cmp(&b.0));
    pairs
        .chunks(pairs.len().div_ceil(12).max(1))
        .map(|group| {
            let (ranges, errors): (Vec<f64>, Vec<f64>) = group.iter().copied().unzip();
            (
                percentile(&ranges, 0.5).clamp(ENDS.0, ENDS.1),
                percentile(&errors, 0.9).clamp(ENDS.0, ENDS.1),
            )
        })
        .collect()
}
