//! The shelf with the samples as tubes.

use std::{fs, path::Path};

use super::*;
use crate::paint::{file::State, verdict::signed};

fn text(sample: &str, change: impl FnOnce(&mut Record)) -> String {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-scans");
    let text = fs::read_to_string(folder.join(format!("{sample}.pigment.json"))).expect("a sample");
    let mut record = Record::read(&text).expect("a pigment file");
    change(&mut record);
    record.write()
}

const NAMES: [&str; 5] = [
    "cliff-rose",
    "storm-blue",
    "foam-white",
    "lantern-gold",
    "net-brown",
];

fn shelf() -> OpenShelf {
    let mut shelf = OpenShelf::default();
    shelf.use_all(
        NAMES
            .iter()
            .enumerate()
            .map(|(i, name)| {
                let drawn = format!("2026-0{}-01", i + 1);
                (
                    i as u32 + 1,
                    text(name, |record| record.paint.drawn_on = drawn),
                )
            })
            .collect(),
    );
    shelf
}

fn order(shelf: &mut OpenShelf, ask: &Ask) -> Vec<u32> {
    let view = shelf.list(ask).expect("samples predict");
    view.rows.iter().map(|row| row.id).collect()
}

#[test]
fn every_order_is_what_it_says() {
    let mut shelf = shelf();
    let mut sorted = |sort| {
        order(
            &mut shelf,
            &Ask {
                sort,
                ..Ask::default()
            },
        )
    };
    assert_eq!(sorted(Sort::Date), [5, 4, 3, 2, 1]);
    let of = self::shelf();
    let record = |id: u32| &of.tube(id).expect("it is there").record;
    let milks: Vec<f64> = sorted(Sort::Milk)
        .into_iter()
        .filter_map(|id| record(id).opacity.milk_on_black)
        .collect();
    assert!(milks.len() >= 3 && milks.is_sorted(), "{milks:?}");
    // The white never falls to glaze depth and stands last.
    assert_eq!(sorted(Sort::Milk).last(), Some(&3));
    let light: Vec<f64> = sorted(Sort::Lightness)
        .into_iter()
        .filter_map(|id| record(id).opacity.masstone_lab)
        .map(|lab| -lab[0])
        .collect();
    assert!(light.len() == 5 && light.is_sorted(), "{light:?}");
    let names: Vec<u32> = sorted(Sort::Name);
    assert_eq!(names, [1, 3, 4, 5, 2]);
    // Rose before gold before blue, as around the circle of hues.
    let hues = sorted(Sort::Hue);
    let at = |id: u32| hues.iter().position(|&other| other == id).expect("there");
    assert!(at(4) < at(2), "{hues:?}");
}

#[test]
fn filters_and_search_narrow_and_what_is_damaged_stays_in_view() {
    let mut shelf = shelf();
    let mut kept: Vec<KeptText> = shelf
        .tubes
        .iter()
        .map(|tube| (tube.id, tube.text.clone()))
        .collect();
    kept[1].1 = text("storm-blue", |record| {
        record.paint.colour_index = vec!["pb29".into(), "PW6".into()];
        record.paint.binder = "Walnut oil".into();
    });
    kept[3].1 = text("lantern-gold", |record| {
        record.paint.colour_index = vec!["PB4".into(), "pbr7 ".into(), "PBK9".into()]
    });
    kept.push((9, "not a pigment file".into()));
    shelf.use_all(kept);
    let mut of = |change: fn(&mut Ask)| {
        let mut ask = Ask::default();
        change(&mut ask);
        order(&mut shelf, &ask)
    };
    assert_eq!(of(|ask| ask.code = "PB29".into()), [2, 9]);
    assert_eq!(of(|ask| ask.binder = "walnut oil".into()), [2, 9]);
    assert_eq!(of(|ask| ask.code = "PBr7".into()), [4, 9]);
    assert_eq!(of(|ask| ask.search = "storm PW6".into()), [2, 9]);
    assert_eq!(of(|ask| ask.search = "no such words".into()), [9]);
    let clear = of(|ask| ask.grade = "clear".into());
    assert!(clear.contains(&2) && !clear.contains(&3), "{clear:?}");
    let view = shelf.list(&Ask::default()).unwrap();
    assert_eq!((view.kept, view.tubes, view.rows.len()), (6, 6, 6));
    let codes: Vec<&str> = view
        .codes
        .iter()
        .map(|offer| offer.value.as_str())
        .collect();
    // By number, not by letter.
    let at = |code: &str| codes.iter().position(|&c| c == code).expect("offered");
    assert!(at("PB4") < at("PB29"), "{codes:?}");
    // Written as usual, however typed.
    assert!(at("PBk9") < at("PBr7"), "{codes:?}");
    assert!(view.rows[5].problem.is_some());
}

#[test]
fn readings_of_one_tube_stand_together_with_the_odd_one_out() {
    let mut shelf = OpenShelf::default();
    let named = |sample: &str, factor: f64, file: &str| {
        text(sample, |record| {
            record.paint.name = "My Rose".into();
            record.paint.maker = String::new();
            record.paint.binder = String::new();
            record.paint.batch = String::new();
            record.provenance.file_name = file.into();
            record.scattering.iter_mut().for_each(|s| *s *= factor);
            another_scan(record, factor);
        })
    };
    shelf.use_all(vec![
        (1, named("cliff-rose", 1.0, "a.png")),
        (2, named("cliff-rose", 1.02, "b.png")),
        (3, named("storm-blue", 1.0, "c.png")),
        (
            4,
            named("cliff-rose", 0.97, "d.png").replace("My Rose", "my  rose"),
        ),
    ]);
    let view = shelf.list(&Ask::default()).unwrap();
    assert_eq!((view.kept, view.tubes, view.rows.len()), (4, 1, 1));
    let row = &view.rows[0];
    assert_eq!(row.readings.len(), 4);
    let odd: Vec<u32> = row
        .readings
        .iter()
        .filter(|r| r.odd)
        .map(|r| r.id)
        .collect();
    assert_eq!(odd, [3]);
    assert_ne!(row.id, 3);
    assert!(row.together.contains("c.png"), "{}", row.together);
    // The odd one does not stand between the others.
    let apart: Vec<f64> = row
        .readings
        .iter()
        .filter(|r| !r.odd)
        .map(|r| {
            let words = r.apart.split(' ').next().expect("a number");
            words.parse().expect("a number")
        })
        .collect();
    assert!(
        apart.len() == 3 && apart.iter().all(|&d| d < 2.0),
        "{apart:?}"
    );
    assert!(
        row.together.contains("the others lie up to"),
        "{}",
        row.together
    );
    // Without a name nothing is taken for the same tube.
    shelf.use_all(vec![
        (1, text("cliff-rose", |record| record.paint.name.clear())),
        (
            2,
            text("cliff-rose", |record| record.paint.name = " ".into()),
        ),
    ]);
    assert_eq!(shelf.list(&Ask::default()).unwrap().tubes, 2);
}

/// No two scans give the same numbers.
fn another_scan(record: &mut Record, which: f64) {
    record.cells[0].xyz[1] *= 1.0 + 0.001 * which;
}

/// A file brought in twice, or a scan kept twice, is one reading: the range stays as wide as it is.
#[test]
fn one_scan_kept_twice_tells_no_more() {
    let sd = |shelf: &OpenShelf| {
        let record = &shelf.tube(1).expect("it is there").record;
        record.opacity.milk_sd.expect("a number")
    };
    let one = text("rope-ochre", |_| ());
    // Read again, an edge moved a little.
    let moved = text("rope-ochre", |record| another_scan(record, 2.0));
    let other = text("rope-ochre", |record| {
        another_scan(record, 3.0);
        record.provenance.file_name = "another day.png".into();
    });
    let mut shelf = OpenShelf::default();
    shelf.use_all(vec![(1, one.clone())]);
    shelf.list(&Ask::default()).unwrap();
    let alone = sd(&shelf);
    shelf.use_all(vec![(1, one.clone()), (2, one.clone()), (3, moved.clone())]);
    let row = shelf.list(&Ask::default()).unwrap().rows.remove(0);
    assert!(
        (sd(&shelf) - alone).abs() < 0.02 * alone,
        "{} {alone}",
        sd(&shelf)
    );
    assert!(row.together.contains("count once"), "{}", row.together);
    assert_eq!(row.readings.len(), 3);
    assert_eq!(row.readings[2].apart, "");
    assert!(
        row.readings[0].apart.contains("same scan"),
        "{}",
        row.readings[0].apart
    );
    assert_eq!(row.id, 3);
    shelf.use_all(vec![(1, one), (2, moved), (3, other)]);
    shelf.list(&Ask::default()).unwrap();
    assert!(sd(&shelf) < 0.95 * alone, "{} {alone}", sd(&shelf));
}

/// A tube read several times is shown, sorted and compared as the mean of its readings, which predictions go by as well; each card
/// that hides everything is left to itself.
#[test]
fn a_row_is_the_mean_of_its_readings() {
    let read = |factor: f64, state: State| {
        text("net-brown", |record| {
            record.paint.name = "Brown".into();
            record.scattering.iter_mut().for_each(|s| *s *= factor);
            record.provenance.file_name = format!("{factor}.png");
            another_scan(record, factor);
            record.state = state;
        })
    };
    let texts = [
        read(1.0, State::Known),
        read(6.0, State::Known),
        read(40.0, State::MasstoneOnly),
    ];
    let milk = |text: &str| {
        let record = Record::read(text).expect("a pigment file");
        let paint = record.constants().expect("constants");
        let milk = crate::paint::verdict::milk(&paint, record.thickest());
        milk.expect("glaze depth").on_black
    };
    let mut shelf = OpenShelf::default();
    let numbered = |count: usize| (1..).zip(texts[..count].iter().cloned()).collect();
    shelf.use_all(numbered(2));
    let row = shelf.list(&Ask::default()).unwrap().rows.remove(0);
    let shown = |shelf: &OpenShelf| {
        let opacity = &shelf.tube(1).expect("it is there").record.opacity;
        opacity.milk_on_black.expect("a number")
    };
    let (least, most) = (milk(&texts[0]), milk(&texts[1]));
    let mean = shown(&shelf);
    assert!(
        least + 0.2 < mean && mean < most - 0.2,
        "{least} {mean} {most}"
    );
    // The words are of the same number, and the strip is of no single card.
    assert!(row.milk.contains(&signed(mean)), "{}", row.milk);
    let strips = [1, 2].map(|id| shelf.paint(id).expect("it is there").strip.clone());
    assert!(!strips.contains(&row.strip));
    // Scatter averages as logarithms do: the mean of 1 and 6 times is 2.45 times.
    let halfway = milk(&read(libm::sqrt(6.0), State::Known));
    assert!((mean - halfway).abs() < 0.3, "{mean} beside {halfway}");
    // What is compared is the mean too, whichever reading is chosen.
    let compared = shelf.compare(&[1, 2]).unwrap();
    assert_eq!(compared.rows[0].coats, compared.rows[1].coats);
    assert_eq!(shelf.readings_of(2).unwrap(), 2);
    // A card that hides everything changes nothing; it is opened, and counted.
    shelf.use_all(numbered(3));
    let row = shelf.list(&Ask::default()).unwrap().rows.remove(0);
    assert_eq!(row.readings.len(), 3);
    assert!((shown(&shelf) - mean).abs() < 1e-9);
    // One that goes takes its part of the mean along.
    shelf.use_all(numbered(1));
    let row = shelf.list(&Ask::default()).unwrap().rows.remove(0);
    assert!(row.readings.is_empty() && row.together.is_empty());
    assert_eq!(row.strip, shelf.paint(1).expect("it is there").strip);
}

#[test]
fn a_tube_is_the_same_as_itself_and_not_as_another() {
    let mut shelf = shelf();
    let mut kept: Vec<KeptText> = shelf
        .tubes
        .iter()
        .map(|tube| (tube.id, tube.text.clone()))
        .collect();
    kept.push((7, kept[0].1.replace("cliff rose", "cliff rose again")));
    shelf.use_all(kept);
    let view = shelf.compare(&[1, 7, 2]).unwrap();
    assert_eq!(view.rows.len(), 3);
    assert_eq!(view.rows[0].coats, view.rows[1].coats);
    assert!(view.rows[1].difference.starts_with("Cannot be told from"));
    assert!(
        view.rows[2].difference.starts_with("Not the same as"),
        "{}",
        view.rows[2].difference
    );
    assert!(shelf.compare(&[1]).is_err() && shelf.compare(&[1, 99]).is_err());
}
