//! Scores the fit and its predictions on the development sets and on stacks, beside two simpler ways, as Markdown.
//!
//! `cargo run --example score_sets`; `tests/data/sets/README.md` says where the sets come from. Differences are CIEDE2000.

#[path = "../tests/support/milk.rs"]
mod milk;
#[path = "../tests/support/score.rs"]
mod score;
#[path = "../tests/support/sets.rs"]
mod sets;
#[path = "../tests/support/simple_ways.rs"]
mod simple_ways;
#[path = "../tests/support/stacks.rs"]
mod stacks;

use std::collections::BTreeSet;

use score::{Class, One, Tally};
use sets::{DRAWS, Noise, Set};
use stacks::StackSet;
use twoground::{colour, paint::verdict};

#[allow(clippy::print_stdout)]
fn main() {
    let sets = ["cards", "second", "forward"].map(Set::load);
    let own = stacks::own_set();
    println!(
        "## One film: {DRAWS} noise draws of every paint, a quarter to four times the card's film\n"
    );
    println!(
        "| set | way | median | mean | 95th | range held | median width |\n|---|---|---|---|---|---|---|"
    );
    for set in sets.iter().chain([&own]) {
        for (way, tally) in ways(set) {
            line(&[set.name, way], &tally);
        }
    }
    by_class(&sets, &own, Noise::OfScanners);
    by_class(&sets, &own, Noise::Added);

    println!("\n## Stacks of two and three films over eleven coloured grounds and greys\n");
    println!(
        "| anisotropy | constants | median | mean | 95th | range held | median width |\n|---|---|---|---|---|---|---|"
    );
    for set in [stacks::stored()].into_iter().chain(stacks::invented(20)) {
        for (what, tally) in stack_ways(&set) {
            line(&[set.name, what], &tally);
        }
    }
    milk_table();
}

#[allow(clippy::print_stdout)]
fn by_class(sets: &[Set], own: &Set, noise: Noise) {
    let mut all: Vec<One> = Vec::new();
    for set in sets.iter().chain([own]) {
        for films in [1, 2, 3] {
            for paint in &set.paints {
                for draw in 0..DRAWS {
                    all.extend(score::predictions_within(set, paint, draw, films, noise));
                }
            }
        }
    }
    let taken = match noise {
        Noise::OfScanners => "as far off as the product says of scans",
        Noise::Added => "as far off as they are",
    };
    println!("\n## Ours by class, all sets, cells taken to be {taken}\n");
    println!(
        "| what | median | mean | 95th | range held | median width |\n|---|---|---|---|---|---|"
    );
    let three = |one: &One| one.films_on_card == 3;
    let near = |one: &One| (0.5..=2.0).contains(&one.build);
    line(&["three films on the card"], &score::tally(&all, three));
    for class in Class::ALL {
        line(
            &[class.name()],
            &score::tally(&all, |o| three(o) && o.class == class),
        );
        line(
            &[&format!("{}, half to double", class.name())],
            &score::tally(&all, |o| three(o) && near(o) && o.class == class),
        );
    }
    for (build, name) in BUILDS {
        line(
            &[name],
            &score::tally(&all, |o| three(o) && o.build == build),
        );
    }
    line(
        &["coloured grounds"],
        &score::tally(&all, |o| three(o) && o.coloured),
    );
    line(
        &["grey grounds"],
        &score::tally(&all, |o| three(o) && !o.coloured),
    );
    for (films, name) in [(2, "two films on the card"), (1, "one film on the card")] {
        line(&[name], &score::tally(&all, |o| o.films_on_card == films));
        line(
            &[&format!("{name}, half to double")],
            &score::tally(&all, |o| o.films_on_card == films && near(o)),
        );
        for class in Class::ALL {
            line(
                &[&format!("{name}, {}", class.name())],
                &score::tally(&all, |o| o.films_on_card == films && o.class == class),
            );
        }
    }
}

/// Milk on black of every invented paint: true, and as fifteen cards say it (films half, once and twice as thick; five noise
/// draws each).
#[allow(clippy::print_stdout)]
fn milk_table() {
    println!("\n## Milk on black\n");
    println!(
        "| paint | anisotropy | true | grade | told: median | least to most | within its range | grade told | true grade among the possible |\n|---|---|---|---|---|---|---|---|---|"
    );
    let (mut errors, mut within, mut right, mut possible, mut count) = (Vec::new(), 0, 0, 0, 0);
    for paint in milk::all() {
        let told: Vec<_> = [0.5, 1.0, 2.0]
            .into_iter()
            .flat_map(|scale| paint.told(scale, DRAWS))
            .collect();
        let name = paint.paint.name;
        let Some(truth) = paint.truth(6.0) else {
            let grades: BTreeSet<_> = told.iter().map(|t| t.grade.phrase()).collect();
            let grades: Vec<_> = grades.into_iter().collect();
            println!(
                "| {name} | {} | never as deep | | | | | {} | |",
                paint.anisotropy,
                grades.join(", ")
            );
            continue;
        };
        let grade = verdict::grade_of_milk(truth);
        let milks: Vec<_> = told.iter().filter_map(|t| t.milk).collect();
        let values: Vec<f64> = milks.iter().map(|m| m.on_black).collect();
        let held = milks
            .iter()
            .filter(|m| (m.on_black - truth).abs() <= 1.645 * m.sd)
            .count();
        let same = told.iter().filter(|t| t.grade == grade).count();
        let among = milks
            .iter()
            .filter(|m| verdict::possible(**m).contains(&grade))
            .count();
        println!(
            "| {name} | {} | {truth:.1} | {} | {:.1} | {:.1} to {:.1} | {held} of {} | {same} of {} alike | {among} of {} |",
            paint.anisotropy,
            grade.phrase(),
            sets::percentile(&values, 0.5),
            sets::percentile(&values, 0.0),
            sets::percentile(&values, 1.0),
            milks.len(),
            told.len(),
            milks.len(),
        );
        errors.extend(values.iter().map(|v| (v - truth).abs()));
        within += held;
        right += same;
        possible += among;
        count += told.len();
    }
    println!(
        "\n{} cards: off by {:.2} L* at the median, {:.2} at the 95th; within the stated range {:.0} %; same grade {:.0} %, among the possible {:.0} %",
        count,
        sets::percentile(&errors, 0.5),
        sets::percentile(&errors, 0.95),
        100.0 * within as f64 / errors.len() as f64,
        100.0 * right as f64 / count as f64,
        100.0 * possible as f64 / errors.len() as f64,
    );
}

const BUILDS: [(f64, &str); 5] = [
    (0.25, "a quarter of the film"),
    (0.5, "half the film"),
    (1.0, "the same film"),
    (2.0, "double the film"),
    (4.0, "four times the film"),
];

#[allow(clippy::print_stdout)]
fn line(names: &[&str], t: &Tally) {
    let known = t.ranges.iter().any(|&r| r > 0.0);
    let (held, width) = if known {
        (
            format!("{:.0} %", 100.0 * t.held()),
            format!("{:.1}", t.width()),
        )
    } else {
        (String::new(), String::new())
    };
    println!(
        "| {} | {:.2} | {:.2} | {:.2} | {held} | {width} |",
        names.join(" | "),
        t.median(),
        t.mean(),
        t.high()
    );
}

/// The simple ways and ours on one set.
fn ways(set: &Set) -> [(&'static str, Tally); 4] {
    let mut tallies = [const { Tally::new() }; 4];
    for paint in &set.paints {
        for (draw, cells) in paint.noisy.iter().enumerate() {
            let wide = simple_ways::fit_wide(set.white, set.black, cells, None);
            let wide_known = simple_ways::fit_wide(set.white, set.black, cells, Some(&set.builds));
            let two_flux =
                simple_ways::fit_two_flux(&set.card(cells), sets::prior(set.white, cells));
            for (build, labs) in &paint.over_grounds {
                for ((ground, &xyz), &truth) in set.grounds.iter().zip(&set.grounds_xyz).zip(labs) {
                    for (tally, lab) in tallies.iter_mut().zip([
                        simple_ways::wide_over(&[(&wide, *build)], xyz),
                        simple_ways::wide_over(&[(&wide_known, *build)], xyz),
                        simple_ways::two_flux_over(&[(&two_flux, *build)], ground),
                    ]) {
                        tally.add(colour::difference(truth, lab), 0.0);
                    }
                }
            }
            for one in score::predictions(set, paint, draw, 3) {
                tallies[3].add(one.error, one.range);
            }
        }
    }
    let mut tallies = tallies.into_iter();
    [
        "three wide bands, builds solved",
        "three wide bands, builds known exactly",
        "31 bands, two fluxes",
        "31 bands, exact transport (ours)",
    ]
    .map(|name| (name, tallies.next().unwrap_or_default()))
}

/// Stacks by what is known.
fn stack_ways(set: &StackSet) -> Vec<(&'static str, Tally)> {
    let (colours, spectra) = (set.coloured(), set.known());
    let exact = set.cells(None);
    let mut ways = vec![
        (
            "true, spectra of the grounds given",
            set.score(&set.true_constants(), &spectra),
        ),
        ("true", set.score(&set.true_constants(), &colours)),
        (
            "fitted without noise, spectra given",
            set.score(&set.fitted(&exact), &spectra),
        ),
        (
            "fitted without noise",
            set.score(&set.fitted(&exact), &colours),
        ),
    ];
    let (mut ours, mut two_flux, mut wide) = (Tally::default(), Tally::default(), Tally::default());
    for draw in 0..3 {
        let cells = set.cells(Some(draw));
        ours.append(&set.score(&set.fitted(&cells), &colours));
        two_flux.append(&set.two_flux(&cells, &colours));
        wide.append(&set.wide(&cells, &colours));
    }
    ways.push(("fitted with noise", ours));
    ways.push(("two fluxes, with noise", two_flux));
    ways.push(("three wide bands, with noise", wide));
    ways
}
