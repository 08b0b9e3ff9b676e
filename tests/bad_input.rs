//! Whatever comes from outside is read, or refused in one sentence that says what to do. Nothing panics, runs without end or
//! takes memory without bound. The table "Bad input" in DEVELOPERS.md names these tests.

use std::fs;
use std::path::Path;
use std::sync::LazyLock;

use proptest::prelude::*;
use proptest::sample::{Index, select};
use serde_json::{Value, json};
use twoground::{
    Error,
    card::print::{self, Paper, Side},
    colour::Lab,
    glass::mask::Way,
    page::{
        Change, Glaze, Held, LabelData, OpenGlass, OpenPicture, OpenScan, PaintView, PickFrom,
        file_name, relabel,
    },
    paint::{Record, file::Label, spectra},
    picture::{Film, Ground, Stack, plan::Plan},
    scan::decode,
    shelf::{
        copy::{self, Choice, Copy},
        history::History,
    },
};

#[path = "support/bombs.rs"]
mod bombs;

fn sample(name: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("sample-scans")
        .join(name);
    fs::read_to_string(path).expect("a sample")
}

/// A paint with everything that may be kept with it.
static PIGMENT: LazyLock<String> = LazyLock::new(|| {
    let mut record: Value = serde_json::from_str(&sample("storm-blue.pigment.json")).expect("JSON");
    let colour = json!({"lab": [60.0, -4.0, -12.0], "lab_sd": [0.5, 0.5, 0.5], "surface": "satin"});
    record["coats"] = json!([
        {"way": "brush", "coats": 1.0, "film": 0, "from": "film 1"},
        {"way": "rag", "coats": 0.5, "over": colour, "painted": colour, "from": "Harbour"},
    ]);
    record["tints"] = json!([{
        "with": {"name": "foam white", "maker": "", "binder": "", "batch": ""}, "parts": 1.0, "with_parts": 10.0, "by": "weight",
        "colour": colour, "from": "a scrap",
    }]);
    record.to_string()
});
static WHITE: LazyLock<String> = LazyLock::new(|| {
    let mut record = Record::read(&sample("foam-white.pigment.json")).expect("a sample");
    record.paint = Label {
        name: "foam white".into(),
        ..Label::default()
    };
    record.write()
});

/// A saved picture with everything in it.
static PICTURE: LazyLock<String> = LazyLock::new(|| {
    let colour = |source: Value| json!({"name": "sky", "lab": [60.0, -4.0, -12.0], "lab_sd": [0.5, 0.5, 0.5], "surface": "satin", "source": source});
    let film = json!({"tube": "kept-1", "name": "blue", "build": 0.7, "coats": 2, "build_log_sd": 0.1, "thinning": {"paint": 1.0, "stays": 1.0, "evaporates": 2.0}});
    let mut measured = colour(json!({"kind": "masstone", "tube": "kept-1"}));
    measured["spectrum"] = json!(vec![0.4; 31]);
    json!({
        "format": "twoground-picture", "version": 1, "name": "Harbour", "notes": "dry by May",
        "colours": [colour(json!({"kind": "typed"})), measured,
            colour(json!({"kind": "picked", "file": "a.png", "profile": "sRGB", "photo": true, "pixels": 400, "card": 7}))],
        "films": [film],
        "patches": [{"over": colour(json!({"kind": "ladder"})), "films": [film], "painted": colour(json!({"kind": "given"}))}],
    })
    .to_string()
});

static COPY: LazyLock<String> = LazyLock::new(|| {
    let texts = |text: &str| [(1, text.to_owned()), (2, "no JSON".to_owned())];
    Copy::of(&texts(&PIGMENT), &texts(&PICTURE), "2026-11-26T00:00:00Z").write()
});

/// One sentence, or two short ones, of plain visible text that says what to do.
#[track_caller]
fn assert_says_what_to_do(error: &Error) {
    const DO: [&str; 20] = [
        "Save",
        "save as",
        "scan again",
        "Scan at",
        "Use",
        "Choose",
        "Drag",
        "Move",
        "move it",
        "move them",
        "Load",
        "Pull",
        "Take",
        "take some away",
        "Pick",
        "Shorten",
        "must show",
        "Leave",
        "Give",
        "Paint",
    ];
    let words = error.to_string();
    assert!(
        words.ends_with('.') && words.starts_with(char::is_uppercase),
        "{words}"
    );
    assert!(
        words.chars().count() < 600,
        "{} characters: {words:.600}",
        words.chars().count()
    );
    assert!(
        !words
            .chars()
            .any(|c| c.is_control() || ('\u{202a}'..='\u{202e}').contains(&c)),
        "{words:?}"
    );
    assert!(
        DO.iter().any(|what| words.contains(what)),
        "what is to be done? {words}"
    );
}

/// So many cases; others by `PROPTEST_CASES`.
fn cases(usual: u32) -> ProptestConfig {
    let asked = std::env::var("PROPTEST_CASES").ok();
    ProptestConfig {
        cases: asked.map_or(usual, |text| text.parse().expect("a number")),
        failure_persistence: None,
        ..ProptestConfig::default()
    }
}

/// What a reader refuses a text with.
type Refuses = fn(&str) -> Option<Error>;

/// Texts that are no file of ours at all.
fn no_files() -> Vec<String> {
    let mut texts: Vec<String> = [
        "",
        " ",
        "null",
        "true",
        "0",
        "\"a\"",
        "[]",
        "[[]]",
        "{}",
        "{",
        "}",
        "{\"format\"",
        "\u{feff}",
        "\u{feff}{}",
        "\0",
        "NaN",
        "Infinity",
        "{\"format\": 1e999}",
        "{\"format\": \"\\ud800\"}",
        "{\"format\": null, \"version\": null}",
        "{'format': 1}",
        "<svg onload=alert(1)>",
        "\u{202e}{}",
    ]
    .map(str::to_owned)
    .to_vec();
    for open in ["[", "{\"a\":", "[{\"a\":"] {
        texts.push(open.repeat(300_000));
    }
    texts
}

/// What may stand where a value belongs, as JSON text; some of it is none.
fn values() -> Vec<String> {
    let text = |text: &str| Value::String(text.to_owned()).to_string();
    let mut values: Vec<String> = [
        "null",
        "true",
        "-1",
        "0",
        "-0.0",
        "0.5",
        "3",
        "1e308",
        "-1e308",
        "5e-324",
        "1e999",
        "-1e999",
        "NaN",
        "Infinity",
        "01",
        "0x10",
        "18446744073709551615",
        "18446744073709551616",
        "-9223372036854775808",
        "123456789012345678901234567890",
        "0.1234567890123456789",
        "\"\\ud800\"",
        "[]",
        "{}",
        "[[[[]]]]",
        "",
    ]
    .map(str::to_owned)
    .to_vec();
    values.extend(
        [
            "",
            "NaN",
            "mm",
            "nm",
            "D65",
            "</script><script>alert(1)</script>",
            "a\u{202e}b\u{2066}c\u{0}d\r\ne\u{7f}\u{85}",
            "=1+1",
            "../../etc/passwd",
        ]
        .map(text),
    );
    values.push(text(&"\u{202e}<b>".repeat(20_000)));
    values.push(format!("[{}0]", "0,".repeat(20_000)));
    values.push(format!(
        "{{{}\"z\":0}}",
        (0..5000).map(|i| format!("\"{i}\":0,")).collect::<String>()
    ));
    for deep in [50, 59, 61, 120, 130, 100_000] {
        values.push(format!("{}{}", "[".repeat(deep), "]".repeat(deep)));
    }
    values
}

/// Paths of everything in a value, the whole left out.
fn paths(value: &Value, at: &str, all: &mut Vec<String>) {
    let mut go = |key: &str, value: &Value| {
        let path = format!("{at}/{key}");
        paths(value, &path, all);
        all.push(path);
    };
    match value {
        Value::Object(fields) => fields.iter().for_each(|(key, value)| go(key, value)),
        // Of long lists of numbers the ends are enough.
        Value::Array(list) => {
            let ends = [0, 1, list.len().saturating_sub(1)];
            list.iter()
                .enumerate()
                .filter(|(i, _)| list.len() < 12 || ends.contains(i))
                .for_each(|(i, value)| go(&i.to_string(), value));
        }
        _ => {}
    }
}

/// A text with something else at one place of it; or with the field there twice, or without it.
fn altered(text: &str, at: &Index, how: usize, value: &str) -> String {
    const HERE: &str = "\"@ here @\"";
    let mut whole: Value = serde_json::from_str(text).expect("JSON");
    let mut all = Vec::new();
    paths(&whole, "", &mut all);
    let path = at.get(&all);
    let (parent, key) = path.rsplit_once('/').expect("a path");
    let old = whole.pointer(path).expect("it is there").to_string();
    match (how, whole.pointer_mut(parent)) {
        (0, Some(Value::Object(fields))) => {
            fields.shift_remove(key);
            return whole.to_string();
        }
        (1, Some(Value::Object(fields))) => {
            fields[key] = serde_json::from_str(HERE).expect("a text");
            return whole.to_string().replace(
                HERE,
                &format!("{old},{}:{value}", Value::String(key.to_owned())),
            );
        }
        _ => {}
    }
    *whole.pointer_mut(path).expect("it is there") = serde_json::from_str(HERE).expect("a text");
    whole.to_string().replace(HERE, value)
}

fn change() -> impl Strategy<Value = (Index, usize, String)> {
    (any::<Index>(), 0..8_usize, select(values()))
}

/// Reads a pigment file and does with it all that is done with one.
fn use_pigment(text: &str) {
    let record = match Record::read(text) {
        Ok(record) => record,
        Err(error) => return assert_says_what_to_do(&error),
    };
    let written = record.write();
    assert_eq!(
        Record::read(&written)
            .expect("what was written is read")
            .write(),
        written
    );
    assert!(
        file_name(&record)
            .chars()
            .all(|c| c.is_alphanumeric() || c == '-' || c == '.')
    );
    if let Err(error) = PaintView::of(&record) {
        assert_says_what_to_do(&error);
    }
    let Ok(constants) = record.constants() else {
        return;
    };
    // Whatever its coats and tints say, they tell something of finite size or nothing.
    let mut open = OpenPicture::new("Harbour");
    let tubes = [("kept-1", text), ("kept-2", WHITE.as_str())];
    let taken = open.use_tubes(tubes.map(|(key, text)| (key.into(), text.into())).into());
    taken.expect("it was read before");
    let lay = json!({"lay": {"tube": "kept-1", "build": 0.5}});
    let laid = open.change(&serde_json::from_value(lay).expect("a change"));
    let seen = laid.and_then(|()| open.mixed(&[], Some("kept-2")).map(|view| view.mix));
    match seen {
        Ok(mix) => assert!(mix.range.is_finite() && mix.tone.lab.iter().all(|v| v.is_finite())),
        Err(error) => assert_says_what_to_do(&error),
    }
    for result in [spectra::cgats(&record), spectra::csv(&record)] {
        let table = result.expect("a paint with constants has spectra");
        assert!(
            !table
                .chars()
                .any(|c| c.is_control() && !"\t\r\n".contains(c))
        );
    }
    if let Err(error) = Glaze::of(&record, &constants, &[0.0, 0.5, 1.0, 20.0]) {
        assert_says_what_to_do(&error);
    }
    if let Ok(stack) = Stack::new(
        &[&constants],
        &[Film {
            paint: 0,
            build: 1.0,
        }],
    ) {
        let lab = stack.over(&Ground::of(Lab::new(50.0, 0.0, 0.0))).lab;
        assert!(
            [lab.l, lab.a, lab.b].iter().all(|v| v.is_finite()),
            "{lab:?}"
        );
    }
}

fn use_picture(text: &str) {
    let mut open = match OpenPicture::read(text) {
        Ok(open) => open,
        Err(error) => return assert_says_what_to_do(&error),
    };
    let written = open.write();
    assert_eq!(
        Plan::read(&written)
            .expect("what was written is read")
            .write(),
        written
    );
    open.use_tubes(vec![("kept-1".into(), PIGMENT.clone())])
        .expect("a pigment file");
    if let Err(error) = open.view() {
        assert_says_what_to_do(&error);
    }
}

fn use_copy(text: &str) {
    let read = match Copy::read(text) {
        Ok(read) => read,
        Err(error) => return assert_says_what_to_do(&error),
    };
    let written = read.write();
    assert_eq!(
        Copy::read(&written)
            .expect("what was written is read")
            .write(),
        written
    );
    let lines = read.preview(&[(7, PIGMENT.clone())], &[(8, PICTURE.clone())]);
    for line in &lines {
        assert!(line.words.chars().count() < 1500, "{}", line.words);
    }
    copy::wishes(&lines, &[Choice::Both; 4]);
}

#[test]
fn what_is_no_file_of_ours_is_refused_by_every_reader() {
    for text in no_files() {
        for error in [
            Record::read(&text).err(),
            Plan::read(&text).err(),
            Copy::read(&text).err(),
        ] {
            let error = error.unwrap_or_else(|| panic!("read: {text:.60}"));
            assert_says_what_to_do(&error);
        }
        // Without notes nothing can be taken back; nothing else follows.
        History::read(&text);
    }
}

#[test]
fn newer_larger_and_deeper_files_are_refused_by_name() {
    let kinds: [(&str, &str, Refuses); 3] = [
        (&PIGMENT, "4 MB", |text| Record::read(text).err()),
        (&PICTURE, "1 MB", |text| Plan::read(text).err()),
        (&COPY, "256 MB", |text| Copy::read(text).err()),
    ];
    for (text, largest, read) in kinds {
        assert!(read(text).is_none());
        let mut file: Value = serde_json::from_str(text).expect("JSON");
        file["version"] = json!(2);
        let spoilt = |file: &Value| {
            let error = read(&file.to_string()).expect("refused");
            assert_says_what_to_do(&error);
            error.to_string()
        };
        assert!(
            spoilt(&file)
                .contains("version is 2; this program reads up to 1. Use a newer program.")
        );
        file["version"] = json!(1.0);
        assert!(spoilt(&file).contains("version is not a version number"));
        file["version"] = json!(1);
        let mut deep = json!(0);
        for _ in 0..70 {
            deep = json!([deep]);
        }
        file["later"] = deep;
        assert!(spoilt(&file).contains("is nested more than"));
        let long = format!("{text}{}", " ".repeat(257 << 20));
        let error = read(&long).expect("refused");
        assert!(
            error
                .to_string()
                .contains(&format!("larger than {largest}")),
            "{error}"
        );
    }
}

#[test]
fn a_field_that_stands_twice_is_refused() {
    for (text, read) in [
        (&*PIGMENT, (|text| Record::read(text).err()) as Refuses),
        (&*PICTURE, |text| Plan::read(text).err()),
        (&*COPY, |text| Copy::read(text).err()),
    ] {
        for twice in ["\"version\":1,", "\"format\":\"twoground-shelf\","] {
            let error = read(&text.replacen('{', &format!("{{{twice}"), 1)).expect("refused");
            assert_says_what_to_do(&error);
        }
    }
    let twice = COPY.replacen("\"tubes\":", "\"tubes\":[],\"tubes\":", 1);
    let error = Copy::read(&twice).expect_err("one of the two lists would be lost");
    assert!(error.to_string().contains("duplicate field"), "{error}");
}

/// One paint with much in it that is not known must not make the whole copy unreadable.
#[test]
fn what_is_kept_always_comes_back_from_a_copy() {
    let mut file: Value = serde_json::from_str(&PIGMENT).expect("JSON");
    let mut texts = Vec::new();
    for deep in [40, 58, 62, 100, 120, 126] {
        let mut later = json!("later");
        for _ in 0..deep {
            later = json!({"more": later});
        }
        file["later"] = later;
        texts.push(file.to_string());
    }
    texts.push("[".repeat(100_000));
    let kept: Vec<_> = (1..).zip(texts).collect();
    let back = Copy::read(&Copy::of(&kept, &[], "").write()).expect("a copy is read");
    assert_eq!(back.preview(&[], &[]).len(), kept.len());
}

#[test]
fn numbers_come_back_to_the_last_digit() {
    // The nearest number to these digits has an even last place; reading by multiplication misses it.
    let text = PICTURE.replace("\"notes\"", "\"later\":0.555555555555555455e55,\"notes\"");
    let written = Plan::read(&text).expect("a picture").write();
    // As Python writes it, which reads numbers to the nearest.
    assert!(written.contains("5.555555555555555e+54"), "{written}");
    assert_eq!(Plan::read(&written).expect("a picture").write(), written);
}

/// With less than no spread the grades that it may as well be ran from the last to the first.
#[test]
fn a_spread_below_nothing_is_refused() {
    for spread in [-1.0, -1e308] {
        let mut file: Value = serde_json::from_str(&PIGMENT).expect("JSON");
        file["opacity"]["milk_sd"] = json!(spread);
        let error = Record::read(&file.to_string()).expect_err("no spread");
        assert_says_what_to_do(&error);
        assert!(error.to_string().contains("opacity.milk_sd"), "{error}");
    }
}

#[test]
fn labels_are_text_and_nothing_else() {
    let label =
        "</text><script>alert(1)</script>\u{202e}evil\u{2066}\u{0}\u{7f}\r\n\"=1+1".to_owned();
    let record = Record::read(&PIGMENT).expect("a pigment file");
    let data = |name: String| LabelData {
        label: twoground::paint::file::Label {
            name,
            ..Default::default()
        },
        ..Default::default()
    };
    let kept = relabel(record.clone(), data(label.clone())).expect("a label");
    // As typed in the file; in tables and names of files without what could do harm there.
    assert_eq!(
        Record::read(&kept.write()).expect("it is read").paint.name,
        label
    );
    let table = spectra::cgats(&kept).expect("spectra");
    assert!(
        !table.contains('\u{202e}')
            && !table.contains('\0')
            && table
                .lines()
                .all(|line| !line.starts_with("\"=") && line.matches('"').count() % 2 == 0)
    );
    assert_eq!(file_name(&kept), "text-script-alert-1-script-evil-1-1.json");
    for paper in [Paper::A4, Paper::A5, Paper::Letter] {
        let sheet = print::sheet(
            paper,
            Side::Front,
            1,
            &[label.clone(), "x".repeat(1_000_000)],
        )
        .expect("a sheet");
        assert!(
            !sheet.contains("<script") && !sheet.contains(['\u{202e}', '\u{2066}', '\0', '\u{7f}'])
        );
        assert!(sheet.len() < 2_000_000, "{} bytes", sheet.len());
    }
    for (name, gauge) in [
        ("x".repeat(2001), String::new()),
        (String::new(), "x".repeat(5 << 20)),
    ] {
        let error = relabel(
            record.clone(),
            LabelData {
                gauge,
                ..data(name)
            },
        )
        .expect_err("too long");
        assert_says_what_to_do(&error);
    }
}

proptest! {
    #![proptest_config(cases(400))]

    #[test]
    fn an_altered_pigment_file_is_read_or_refused(change in prop::collection::vec(change(), 1..3)) {
        let text = change.iter().fold(PIGMENT.clone(), |text, (at, how, value)| {
            if serde_json::from_str::<Value>(&text).is_ok() { altered(&text, at, *how, value) } else { text }
        });
        use_pigment(&text);
    }

    #[test]
    fn an_altered_picture_is_read_or_refused(change in prop::collection::vec(change(), 1..3)) {
        let text = change.iter().fold(PICTURE.clone(), |text, (at, how, value)| {
            if serde_json::from_str::<Value>(&text).is_ok() { altered(&text, at, *how, value) } else { text }
        });
        use_picture(&text);
    }

    #[test]
    fn an_altered_copy_is_read_or_refused((at, how, value) in change()) {
        use_copy(&altered(&COPY, &at, how, &value));
    }

    #[test]
    fn cut_and_garbled_texts_are_refused(file in 0..3_usize, at in any::<Index>(), garbage in prop::collection::vec(any::<char>(), 0..8)) {
        let text = [&PIGMENT, &PICTURE, &COPY][file];
        let mut cut: String = text.chars().take(at.index(text.len())).collect();
        cut.extend(garbage);
        match file {
            0 => use_pigment(&cut),
            1 => use_picture(&cut),
            _ => use_copy(&cut),
        }
    }

    /// Changes of a picture as the page asks for them.
    #[test]
    fn an_altered_change_is_made_or_refused(which in any::<Index>(), (at, how, value) in change()) {
        let changes = [
            json!({"lay": {"tube": "kept-1", "build": 1.0}}),
            json!({"build": {"film": 0, "build": 1.0, "pulling": true}}),
            json!({"coats": {"film": 0, "coats": 2}}),
            json!({"thin": {"film": 0, "thinning": {"paint": 1.0, "stays": 1.0, "evaporates": 1.0}}}),
            json!({"move-film": {"film": 0, "over": true}}),
            json!({"take-film": {"film": 0}}),
            json!({"my-coat": {"film": 0}}),
            json!({"add-colour": {"name": "x", "lab": [50.0, 0.0, 0.0], "lab_sd": [4.0, 4.0, 4.0], "surface": "matt"}}),
            json!({"add-ladder": {"count": 5, "light": 90.0, "dark": 10.0}}),
            json!({"add-masstone": {"tube": "kept-1"}}),
            json!({"add-patch": {"lab": [50.0, 0.0, 0.0], "lab_sd": [1.0, 1.0, 1.0]}}),
            json!({"add-from-card": {"card": 7, "file": "a.png", "profile": "sRGB", "photo": true, "surface": "matt",
                "colours": [{"lab": [50.0, 0.0, 0.0], "lab_sd": [1.0, 1.0, 1.0], "pixels": 576}]}}),
            json!({"scatter": {"tube": "kept-1", "as_painted": true}}),
            json!({"medium": {"film": 0, "medium": 3}}),
            json!({"known": {"colour": 0, "lab_sd": [4.0, 4.0, 4.0]}}),
            json!({"name-colour": {"colour": 0, "name": "x"}}),
        ];
        let text = altered(&which.get(&changes).to_string(), &at, how, &value);
        let mut open = OpenPicture::read(&PICTURE).expect("a picture");
        open.use_tubes(vec![("kept-1".into(), PIGMENT.clone())]).expect("a pigment file");
        let before = open.write();
        if let Ok(change) = serde_json::from_str::<Change>(&text) {
            match open.change(&change) {
                Ok(()) => prop_assert!(Plan::read(&open.write()).is_ok(), "{}", text),
                Err(error) => {
                    assert_says_what_to_do(&error);
                    prop_assert_eq!(open.write(), before);
                }
            }
            if let Err(error) = open.view() {
                assert_says_what_to_do(&error);
            }
        }
    }
}

/// A scan with a card in it, its place as text.
fn placed() -> (OpenScan, String) {
    let bytes = fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-scans/storm-blue.png"))
        .expect("a sample");
    let mut open = OpenScan::new(&bytes, "storm-blue.png", String::new(), false).expect("a scan");
    open.find();
    let text = open.layout();
    (open, text)
}

/// Does with an open scan all that is done with one.
fn use_scan(open: &mut OpenScan) {
    open.sample();
    open.fit();
    match open.record() {
        Ok(record) => {
            let text = record.write();
            let again = Record::read(&text).unwrap_or_else(|error| panic!("{error}"));
            assert_eq!(again.write(), text);
        }
        Err(error) => assert_says_what_to_do(&error),
    }
    for error in [open.picture().err(), open.view().err()]
        .into_iter()
        .flatten()
    {
        assert_says_what_to_do(&error);
    }
}

#[test]
fn a_place_of_a_card_that_is_none_is_refused_and_changes_nothing() {
    let (mut open, place) = placed();
    let mut texts = no_files();
    texts.push(format!("{place}{}", " ".repeat(2 << 20)));
    for text in texts {
        let error = open.use_layout(&text).expect_err("no place of a card");
        assert_says_what_to_do(&error);
        assert_eq!(open.layout(), place);
    }
    open.use_layout(&place).expect("its own");
    use_scan(&mut open);
}

proptest! {
    #![proptest_config(cases(60))]

    #[test]
    fn an_altered_place_of_a_card_is_taken_or_refused(change in prop::collection::vec(change(), 1..3)) {
        let (mut open, place) = placed();
        let text = change.iter().fold(place.clone(), |text, (at, how, value)| {
            if serde_json::from_str::<Value>(&text).is_ok() { altered(&text, at, *how, value) } else { text }
        });
        match open.use_layout(&text) {
            Ok(()) => {
                let again = open.layout();
                open.use_layout(&again).expect("what was given is taken");
                use_scan(&mut open);
            }
            Err(error) => {
                assert_says_what_to_do(&error);
                prop_assert_eq!(open.layout(), place);
            }
        }
    }

    /// Corrections with any numbers.
    #[test]
    fn corrections_with_any_number_are_made_or_refused(
        what in 0..9_usize, which in prop_oneof![0..7_usize, Just(usize::MAX)], at in [number(), number()], yes in any::<bool>(),
    ) {
        let (mut open, _) = placed();
        let refused = match what {
            0 => open.move_corner(which, at).err(),
            1 => open.move_edge(which, yes, at).err(),
            2 => open.move_stripe(which, at[0]).err(),
            3 => open.take_away(which).err(),
            4 => open.count_films(which).err(),
            5 => open.answer(twoground::reading::Answers { white: Some(at[0]), ..open.answers() }).err(),
            6 => {
                open.leave_out(which, yes.then_some(which), true);
                None
            }
            7 => {
                open.settle(which);
                None
            }
            _ => {
                open.choose(which);
                None
            }
        };
        if let Some(error) = refused {
            assert_says_what_to_do(&error);
        }
        use_scan(&mut open);
    }

    /// Masks and known places under glass, and a colour picked, with any numbers.
    #[test]
    fn a_painting_takes_any_number(at in [[number(), number()], [number(), number()], [number(), number()]], by in [number(), number(), number()], add in any::<bool>(), lab in [number(), number(), number()]) {
        let bytes = include_bytes!("data/scan/interlaced.png");
        let mut glass = OpenGlass::new(bytes, "a.png", false).expect("a picture");
        let way = if add { Way::Add } else { Way::Remove };
        glass.begin_stroke(way);
        glass.brush([at[0], at[1]], by[0], by[1], by[2], way);
        glass.outline(&at, by[0], way);
        glass.grow(at[0], by[0], by[1], way);
        glass.end();
        glass.whole_mask(Some(by[2]));
        glass.run(Some([at[0], at[1]]));
        glass.step(true).expect("a step");
        let known = glass.know(at[0], by[0], lab).err();
        for error in known.into_iter().chain(glass.spot(at[1], by[1]).err()).chain(glass.view().err()) {
            assert_says_what_to_do(&error);
        }
        let pick = PickFrom::new(bytes, "a.png").expect("a picture");
        if let Err(error) = pick.spot(at[0], by[0], add) {
            assert_says_what_to_do(&error);
        }
    }
}

proptest! {
    #![proptest_config(cases(300))]

    /// What was done under glass, as storage gives it back.
    #[test]
    fn an_altered_note_of_a_painting_is_taken_up_or_refused((at, how, value) in change(), spoilt in prop::collection::vec((any::<Index>(), any::<u8>()), 0..4)) {
        let mut glass = OpenGlass::new(include_bytes!("data/scan/interlaced.png"), "a.png", false).expect("a picture");
        glass.begin_stroke(Way::Add);
        glass.brush([[5.0, 5.0], [40.0, 30.0]], 6.0, 0.5, 1.0, Way::Add);
        glass.end();
        glass.run(Some([[0.0, 0.0], [40.0, 30.0]]));
        let before = glass.held().expect("it is held");
        let mut held = Held { text: altered(&before.text, &at, how, &value), masks: before.masks.clone() };
        for (at, byte) in spoilt {
            let mask = &mut held.masks[0];
            let at = at.index(mask.len());
            mask[at] = byte;
        }
        if let Err(error) = glass.take_up(&held) {
            let words = error.to_string();
            prop_assert!(words.ends_with('.') && words.chars().count() < 600, "{}", words);
            prop_assert_eq!(glass.held().expect("it is held"), before);
        }
        prop_assert!(glass.view().is_ok());
    }
}

fn number() -> impl Strategy<Value = f64> {
    prop_oneof![
        4 => -1000.0..2000.0_f64,
        1 => any::<f64>(),
        2 => select(vec![0.0, -0.0, 1.0, f64::NAN, f64::INFINITY, f64::NEG_INFINITY, f64::MAX, f64::MIN, f64::MIN_POSITIVE, 1e18, -1e18]),
    ]
}

#[test]
fn bombs_are_refused_by_the_library_too() {
    for bomb in bombs::all() {
        if let Err(error) = decode::decode(&bomb.bytes, bomb.name) {
            assert_says_what_to_do(&error);
        }
    }
}

/// Under a limit of the system's own, which ends a program that takes more.
#[cfg(target_os = "linux")]
mod limited {
    use std::process::{Command, Output};

    use super::*;

    /// Runs a program with so much address space and no more.
    fn within(megabytes: u32, program: &str, arguments: &[&str]) -> Output {
        Command::new("sh")
            .args([
                "-c",
                &format!("ulimit -v {}; exec \"$@\"", 1024 * megabytes),
                "sh",
                program,
            ])
            .args(arguments)
            .env("TWOGROUND_LIMITED", "yes")
            .output()
            .expect("a shell")
    }

    #[test]
    fn a_bomb_takes_no_more_than_the_picture_that_it_says_it_is() {
        let folder =
            Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("bombs-{}", std::process::id()));
        fs::create_dir_all(&folder).expect("a folder");
        for bomb in bombs::all() {
            let file = folder.join(bomb.name);
            fs::write(&file, &bomb.bytes).expect("a file");
            let path = file.to_str().expect("UTF-8");
            let output = within(400, env!("CARGO_BIN_EXE_twoground"), &["read", path]);
            let said = String::from_utf8_lossy(&output.stderr);
            assert_eq!(output.status.code(), Some(1), "{}: {said}", bomb.name);
            assert!(
                said.trim_end().ends_with('.') && said.lines().count() == 1,
                "{}: {said}",
                bomb.name
            );
            assert!(said.contains(bomb.words), "{}: {said}", bomb.name);
        }
        fs::remove_dir_all(&folder).expect("it goes");
    }

    /// 200 MB of numbers where a pigment file belongs: the text, what is in it as text, and room to look at it.
    #[test]
    fn a_copy_takes_little_more_than_itself() {
        if std::env::var_os("TWOGROUND_LIMITED").is_none() {
            let own = std::env::current_exe().expect("this program");
            let name = "limited::a_copy_takes_little_more_than_itself";
            let output = within(
                1100,
                own.to_str().expect("UTF-8"),
                &["--exact", name, "--test-threads=1"],
            );
            assert!(
                output.status.success(),
                "{}",
                String::from_utf8_lossy(&output.stderr)
            );
            assert!(String::from_utf8_lossy(&output.stdout).contains("1 passed"));
            return;
        }
        let numbers = "0,".repeat(100 << 20);
        let text = format!(
            "{{\"format\":\"twoground-shelf\",\"version\":1,\"tubes\":[{{\"key\":\"a\",\"pigment\":[{numbers}0]}}]}}"
        );
        drop(numbers);
        let copy = Copy::read(&text).expect("a copy");
        drop(text);
        let lines = copy.preview(&[], &[]);
        assert!(
            lines[0].words.contains("larger than 4 MB"),
            "{}",
            lines[0].words
        );
    }
}
