//! Picture: films over the colours of a saved picture, by mouse and by keys.

use std::process::Command;
use std::{
    fs,
    path::{Path, PathBuf},
};

use serde_json::{Value, json};

use crate::devtools::Browser;
use crate::{beside, go, open, samples, shelf_has};

/// Text of what a selector names, with plain minus signs.
#[track_caller]
fn text(page: &mut Browser, selector: &str) -> String {
    let found = page.evaluate(&format!(
        "document.querySelector({}).textContent.replaceAll('\\u2212', '-')",
        json!(selector)
    ));
    found.as_str().expect("text").to_owned()
}

/// Puts the pigment files of samples on the shelf.
#[track_caller]
fn keep_samples(page: &mut Browser, count: usize) -> Vec<PathBuf> {
    let files: Vec<PathBuf> = samples::samples()
        .iter()
        .take(count)
        // The last one kept is shown first.
        .rev()
        .map(|sample| sample.pigment.clone())
        .collect();
    go(page, "tubes");
    page.upload("#pigment", &files);
    shelf_has(page, count);
    files
}

/// Goes to Picture and waits until it shows this many films.
#[track_caller]
pub(crate) fn picture_has(page: &mut Browser, films: usize) {
    page.wait(&format!(
        "document.querySelectorAll('#picture [data-film]').length === {films}"
    ));
}

/// Says of a form's typed colour that it was measured.
#[track_caller]
fn by_instrument(page: &mut Browser, form: &str) {
    let known = format!("#picture form[data-part={form}] select[name=known]");
    page.focus(&known);
    page.press("ArrowDown");
    let chosen = format!("document.querySelector('{known}').selectedOptions[0].textContent");
    page.wait(&format!("{chosen}.startsWith('by an instrument')"));
}

/// Waits until the last change is saved.
#[track_caller]
fn saved(page: &mut Browser) {
    page.wait("document.querySelector('#picture [data-say=saved]').textContent === 'Saved on this computer.'");
}

/// Rows of the table of numbers: name, before, after and range as printed.
#[track_caller]
fn numbers(page: &mut Browser) -> Vec<Vec<String>> {
    if page.evaluate("document.querySelector('#picture [data-part=numbers]').hidden") == true {
        page.click("#picture [data-panel=numbers]");
    }
    let rows = page.evaluate(
        "[...document.querySelectorAll('#picture [data-part=numbers] tbody tr')]
           .map((row) => [...row.children].map((cell) => cell.textContent.replaceAll('\\u2212', '-')))",
    );
    serde_json::from_value(rows).expect("rows of text")
}

/// What the command predicts for films over a colour: three numbers of Lab and the range, as printed.
fn native(films: &[(&PathBuf, &str)], over: &str) -> [String; 4] {
    let mut command = Command::new(env!("CARGO_BIN_EXE_twoground"));
    command.arg("glaze");
    for (pigment, build) in films {
        command.arg(pigment).args(["--film", build]);
    }
    let output = command
        .args(["--over", &over.replace(' ', "")])
        .output()
        .expect("the program starts");
    assert!(output.status.success());
    // "L* 37.8, a* 3.6, b* 7.5 (D50): glaze." and "Nine times in ten within 1.4 ...".
    let words = String::from_utf8(output.stdout).expect("UTF-8");
    let numbers: Vec<String> = words
        .split(|c: char| !(c.is_ascii_digit() || c == '.' || c == '-'))
        .filter(|number| number.contains('.') && number.len() > 1)
        .take(4)
        .map(str::to_owned)
        .collect();
    numbers.try_into().expect("four numbers")
}

/// Every row is what the command predicts.
#[track_caller]
fn assert_native(page: &mut Browser, films: &[(&PathBuf, &str)]) {
    let rows = numbers(page);
    assert!(!rows.is_empty());
    for row in rows {
        let range = row[3].trim_start_matches("± ").split(',').next();
        let shown: Vec<&str> = row[2].split(", ").chain(range).collect();
        assert_eq!(shown, native(films, &row[1]), "{row:?}");
    }
}

#[test]
fn films_are_laid_moved_thinned_and_taken_back_by_mouse() {
    let (_server, _profile, mut page) = open();
    let files = keep_samples(&mut page, 3);
    // Laid on from the shelf.
    page.click("#tubes [data-kept] button[aria-label^='In my picture']");
    picture_has(&mut page, 1);
    page.wait("document.querySelectorAll('#picture .tube-row').length === 3");
    page.screenshot("picture");

    // One coat from the list of all tubes, at the depth that the list shows.
    page.click("#picture [data-tube=kept-2]");
    picture_has(&mut page, 2);
    saved(&mut page);
    let colours = "[...document.querySelectorAll('#picture .band path:not(.notch)')].map((p) => p.getAttribute('fill')).join()";
    let first = page.evaluate(colours);

    // The order exchanged is what was shown beside.
    let foretold = page.evaluate(
        "[...document.querySelectorAll('#picture .pairs tr:last-child .stripe canvas')].map((p) => p.toDataURL()).join()",
    );
    page.click("#picture [data-do=under]");
    page.wait(&format!("{colours} !== {first}"));
    let seen = page.evaluate(
        "[...document.querySelectorAll('#picture .pairs tr:first-child .stripe canvas')].map((p) => p.toDataURL()).join()",
    );
    assert_eq!(seen, foretold);
    page.click("#picture [data-do=undo]");
    page.wait(&format!("{colours} === {first}"));
    page.click("#picture [data-do=redo]");
    page.wait(&format!("{colours} !== {first}"));

    // Coats by the step that shows them, then by the buttons.
    page.click("#picture [data-coats='3']");
    page.wait("document.querySelector('#picture [data-say=coats]').textContent === '3 coats'");
    page.click("#picture [data-do=fewer]");
    page.wait("document.querySelector('#picture [data-say=coats]').textContent === '2 coats'");
    page.click("#picture [data-do=take]");
    picture_has(&mut page, 1);

    // A usual medium is a beginning: its parts stand there, and more of it can be taken.
    let before = text(&mut page, "#picture .pull output");
    page.click("#picture [data-fold=recipe] summary");
    let choose = |page: &mut Browser, name: &str, key: &str, times: usize| {
        page.focus(&format!("#picture select[name={name}]"));
        for _ in 0..times {
            page.press(key);
        }
    };
    let parts = "[...document.querySelectorAll('#picture [data-part=recipe] input')].map((input) => input.value).join(' : ')";
    choose(&mut page, "medium", "ArrowDown", 3);
    page.wait(&format!("{parts} === '4 : 1 : 3'"));
    page.wait_for_text("Thinned: paint 1 to medium 1 (stand oil 1, solvent 3)");
    page.wait_for_text("common practice, no source");
    page.wait_for_text("Solvent: air the room");
    choose(&mut page, "strength", "ArrowUp", 1);
    page.wait(&format!("{parts} === '8 : 1 : 3'"));
    page.wait_for_text("it leaves 67 % of the paint");
    page.screenshot("picture-medium");
    choose(&mut page, "medium", "ArrowUp", 3);
    page.wait_for_text("Thinned: not at all");
    page.wait(&format!("{parts} === '1 : 0 : 0'"));
    // Thinned one to one, the film holds half the paint.
    page.click("#picture input[name=stays]");
    page.evaluate("document.querySelector('#picture input[name=stays]').select()");
    page.type_text("1");
    page.press("Tab");
    page.wait_for_text("it leaves 50 % of the paint");
    assert_eq!(text(&mut page, "#picture .pull output"), before);
    // What cannot be is refused in a sentence, and changes nothing.
    page.evaluate("document.querySelector('#picture input[name=paint]').select()");
    page.click("#picture input[name=paint]");
    page.evaluate("document.querySelector('#picture input[name=paint]').select()");
    page.type_text("-2");
    page.press("Tab");
    page.wait_for_text("Paint is not between 0.01 and 100. Choose a value that is.");
    page.wait_for_text("it leaves 50 % of the paint");
    page.click("[data-do=close-alert]");

    // A pull goes with the pointer and is one step.
    let pulled = text(&mut page, "#picture .pull output");
    let [x, y] = page.middle("#picture-pull");
    page.drag([x, y], [x + 40.0, y]);
    page.wait(&format!(
        "document.querySelector('#picture .pull output').textContent !== {}",
        json!(pulled)
    ));
    saved(&mut page);
    page.click("#picture [data-do=undo]");
    page.wait(&format!(
        "document.querySelector('#picture .pull output').textContent === {}",
        json!(pulled)
    ));

    // The numbers are the command's, also for three films.
    page.click("#picture [data-do=take]");
    picture_has(&mut page, 0);
    page.wait_for_text("Bare underpainting.");
    for tube in 1..=3 {
        page.click("#picture [data-panel=all-tubes]");
        page.click(&format!("#picture [data-tube=kept-{tube}]"));
        picture_has(&mut page, tube);
        set_build(&mut page, "1");
    }
    let films: Vec<_> = files.iter().map(|file| (file, "1")).collect();
    assert_native(&mut page, &films);
    page.screenshot("picture-three-films");
    page.close();
}

/// Draws the chosen film as thick as the card's own, by asking for it as the page itself does.
#[track_caller]
fn set_build(page: &mut Browser, build: &str) {
    // The knife stands between two steps of the slider at most; the exact one is a mark of the card.
    page.click("#picture [data-do=as-drawn]");
    page.wait(&format!(
        "document.querySelector('#picture .pull output').textContent.startsWith('{build}.0 ×')"
    ));
}

/// Presses a key on what has the focus once it is put there.
#[track_caller]
fn key(page: &mut Browser, selector: &str, key: &str) {
    page.focus(&format!("#picture {selector}"));
    page.press(key);
}

/// Types into a field, by keys, in place of what is there.
#[track_caller]
fn type_into(page: &mut Browser, selector: &str, text: &str) {
    page.focus(&format!("#picture {selector}"));
    page.evaluate("document.activeElement.select()");
    page.type_text(text);
}

/// How many of something the picture shows.
fn count_is(selector: &str, count: usize) -> String {
    format!("document.querySelectorAll('#picture {selector}').length === {count}")
}

/// The Tab key alone comes past everything that can be pressed, chosen or typed into and is shown now.
#[track_caller]
fn tab_passes_everything(page: &mut Browser, panel: &str) {
    let missed = page.evaluate(
        "(() => {
           const all = [...document.querySelectorAll('#picture :is(button, input, select, textarea, summary, a, [tabindex=\"0\"])')];
           globalThis.unpassed = new Set(all.filter((e) => e.checkVisibility() && !e.disabled && (e.type !== 'radio' || e.checked)));
           const pass = () => unpassed.delete(document.activeElement);
           document.querySelector('#picture').addEventListener('focusin', pass);
           document.querySelector('#picture [data-part=name]').focus();
           return unpassed.size;
         })()",
    );
    let most = missed.as_u64().expect("a number") + 5;
    assert!(most > 20, "{panel}: {most}");
    for _ in 0..most {
        page.press("Tab");
    }
    let left = page.evaluate("[...unpassed].map((e) => e.outerHTML.slice(0, 100)).join()");
    assert_eq!(left, "", "{panel}");
}

/// Everything that a painter does here, with no pointer at all.
#[test]
fn the_screen_goes_by_keys_alone() {
    let (_server, _profile, mut page) = open();
    let files = keep_samples(&mut page, 3);
    go(&mut page, "picture");
    picture_has(&mut page, 1);
    page.wait(&count_is(".tube-row", 3));
    key(&mut page, "[data-tube=kept-1]", "Enter");
    picture_has(&mut page, 2);
    let chosen = "document.querySelector('#picture [data-film][aria-pressed=true]').dataset.film";
    let name =
        "document.querySelector('#picture [data-film][aria-pressed=true] .name').textContent";
    page.wait(&format!("{chosen} === '1'"));
    let moved = page.evaluate(name);
    // Why this film does what it does here, as the films below leave the colour.
    page.wait("document.querySelector('#picture [data-say=film-reason]').textContent.startsWith('Over grey 1: ')");
    // Down to the film below and up again; with the other key it moves itself.
    page.focus("#picture [data-film='1']");
    page.press("ArrowDown");
    page.wait(&format!("{chosen} === '0'"));
    page.wait("document.activeElement.dataset.film === '0'");
    page.press("ArrowUp");
    page.wait(&format!("{chosen} === '1' && {name} === {moved}"));
    page.press_with("ArrowDown", 1);
    page.wait(&format!("{chosen} === '0' && {name} === {moved}"));
    page.press_with("ArrowUp", 1);
    page.wait(&format!("{chosen} === '1' && {name} === {moved}"));
    key(&mut page, "[data-do=under]", " ");
    page.wait(&format!("{chosen} === '0' && {name} === {moved}"));
    key(&mut page, "[data-do=exchange]", "Enter");
    page.wait(&format!("{chosen} === '1' && {name} === {moved}"));
    key(&mut page, "[data-do=under]", " ");
    page.wait(&format!("{chosen} === '0' && {name} === {moved}"));
    // Thicker by a key, back by a key, and again.
    let output = "document.querySelector('#picture .pull output').textContent";
    let was = page.evaluate(output);
    page.focus("#picture-pull");
    page.press("ArrowRight");
    page.wait(&format!("{output} !== {was}"));
    saved(&mut page);
    page.press_with("z", 2);
    page.wait(&format!("{output} === {was}"));
    page.press_with("z", 2 + 8);
    page.wait(&format!("{output} !== {was}"));
    key(&mut page, "[data-do=undo]", "Enter");
    page.wait(&format!("{output} === {was}"));
    // Thinned by a recipe.
    key(&mut page, "[data-fold=recipe] summary", "Enter");
    key(&mut page, "select[name=medium]", "ArrowDown");
    page.wait_for_text("Thinned: paint 4 to medium 1 (linseed or walnut oil alone)");
    type_into(&mut page, "input[name=paint]", "1");
    page.press("Enter");
    page.wait_for_text("it leaves 50 % of the paint");
    // A colour is chosen and told.
    key(&mut page, "[data-colour='7']", "Enter");
    page.wait(
        "document.querySelector('#picture [data-part=detail] h2').textContent === 'light flesh'",
    );
    page.wait("document.activeElement.dataset.colour === '7'");
    // Coats.
    let coats = "document.querySelector('#picture [data-say=coats]').textContent";
    key(&mut page, "[data-coats='2']", "Enter");
    page.wait(&format!("{coats} === '2 coats'"));
    page.wait("document.activeElement.dataset.coats === '2'");
    key(&mut page, "[data-do=more]", "Enter");
    page.wait(&format!("{coats} === '3 coats'"));
    key(&mut page, "[data-do=fewer]", " ");
    page.wait(&format!("{coats} === '2 coats'"));
    key(&mut page, "[data-film='0']", "Delete");
    picture_has(&mut page, 1);
    key(&mut page, "[data-do=as-drawn]", "Enter");
    page.wait(&format!("{output}.startsWith('1.0 ×')"));
    // All tubes: coats and order by arrows.
    let rows =
        "[...document.querySelectorAll('#picture .tube-row')].map((row) => row.textContent).join()";
    let first = page.evaluate(rows);
    key(&mut page, "input[name=depth-coats]:checked", "ArrowRight");
    page.wait(&format!("{rows} !== {first}"));
    key(&mut page, "input[name=sort]:checked", "ArrowRight");
    page.wait("document.querySelector('#picture input[name=sort][value=lightness]').checked");
    tab_passes_everything(&mut page, "all tubes");
    underpainting_by_keys(&mut page);
    wanted_by_keys(&mut page);
    mixed_by_keys(&mut page, &files);
    patches_by_keys(&mut page);
    // Notes, numbers, the name; another picture and back.
    key(&mut page, "[data-panel=numbers]", "Enter");
    page.wait("document.querySelectorAll('#picture [data-part=numbers] tbody tr').length > 0");
    tab_passes_everything(&mut page, "numbers");
    key(&mut page, "[data-panel=notes]", "Enter");
    page.focus("#picture [data-part=notes] textarea");
    page.type_text("second layer in May");
    type_into(&mut page, "[data-part=name]", "By keys");
    page.press("Enter");
    saved(&mut page);
    key(&mut page, "[data-do=pictures]", "Enter");
    page.wait(&count_is("[data-picture]", 1));
    tab_passes_everything(&mut page, "pictures");
    key(&mut page, "[data-do=new]", "Enter");
    page.wait("document.querySelector('#picture [data-part=name]').value === 'My picture'");
    saved(&mut page);
    page.wait(&count_is("[data-picture]", 2));
    key(&mut page, "[data-picture='1'] button", "Enter");
    page.wait("document.querySelector('#picture [data-part=name]').value === 'By keys'");
    page.evaluate("globalThis.printed = 0, window.print = () => { printed += 1; }, 1");
    key(&mut page, "[data-do=print-plan]", "Enter");
    page.wait("printed === 1");
    page.close();
}

fn underpainting_by_keys(page: &mut Browser) {
    key(page, "[data-panel=underpainting]", "Enter");
    key(page, "[data-do=clear]", "Enter");
    page.wait(&count_is("[data-row]", 0));
    type_into(page, "form[data-part=typed] input[name=lab]", "62.5 3 -10");
    type_into(page, "form[data-part=typed] input[name=name]", "sky");
    page.press("Enter");
    page.wait(&count_is("[data-row]", 1));
    type_into(page, "form[data-part=ladder] input[name=count]", "3");
    page.press("Enter");
    page.wait(&count_is("[data-row]", 4));
    key(page, "form[data-part=masstone] button", "Enter");
    page.wait(&count_is("[data-row]", 5));
    // How it is known, which its range says; its surface, its name, its place; and away.
    let range = |page: &mut Browser| text(page, "#picture .spread + .small");
    key(page, "[data-colour='0']", "Enter");
    page.wait_for_text("typed, judged by eye; glossy");
    let by_eye = range(page);
    key(page, "[data-focus=known-0]", "ArrowDown");
    page.wait_for_text("typed, by an instrument; glossy");
    assert_ne!(range(page), by_eye);
    key(page, "[data-focus=surface-0]", "ArrowDown");
    page.wait("document.querySelector('#picture [data-focus=surface-0]').value === 'satin'");
    type_into(page, "[data-row='0'] input", "evening sky");
    page.press("Enter");
    page.wait(
        "document.querySelector('#picture [data-colour=\"0\"]').textContent === 'evening sky'",
    );
    key(page, "[data-focus=later-0]", "Enter");
    page.wait(
        "document.querySelector('#picture [data-colour=\"1\"]').textContent === 'evening sky'",
    );
    key(page, "[data-focus=take-4]", " ");
    page.wait(&count_is("[data-row]", 4));
    tab_passes_everything(page, "underpainting");
}

fn wanted_by_keys(page: &mut Browser) {
    key(page, "[data-panel=wanted-panel]", "Enter");
    key(page, "[data-way=darker]", "Enter");
    page.wait("document.querySelectorAll('#picture .wanted-row').length >= 1");
    key(page, ".wanted-row button", "Enter");
    picture_has(page, 2);
    type_into(page, "form[data-part=greys] input[name=lab1]", "50 5 10");
    page.press("Enter");
    page.wait(&count_is(".wanted-row.greys", 1));
    let lab = text(page, "#picture .lab dd:last-child");
    type_into(page, "form[data-part=wanted] input[name=lab]", &lab);
    page.press("Enter");
    page.wait_for_text("One film over bare");
    tab_passes_everything(page, "wanted");
    key(
        page,
        ".wanted-row button[aria-label^='Lay it alone']",
        "Enter",
    );
    picture_has(page, 1);
}

/// The mix beside the glaze, and a tint of known ratio that brings the tubes to one unit and stands on the tube's page.
fn mixed_by_keys(page: &mut Browser, files: &[PathBuf]) {
    let records: Vec<twoground::paint::Record> = files
        .iter()
        .map(|file| fs::read_to_string(file).expect("a pigment file"))
        .map(|text| twoground::paint::Record::read(&text).expect("a pigment file"))
        .collect();
    // The darkest tube, so that another is the white.
    let lightness = |at: &usize| records[*at].opacity.masstone_lab.expect("a colour")[0];
    let darkest = (0..records.len()).min_by(|a, b| lightness(a).total_cmp(&lightness(b)));
    let darkest = format!("kept-{}", darkest.expect("tubes") + 1);
    key(page, "[data-film='0']", "Delete");
    picture_has(page, 0);
    key(page, "[data-panel=all-tubes]", "Enter");
    key(page, &format!("[data-tube={darkest}]"), "Enter");
    picture_has(page, 1);
    key(page, "[data-colour='0']", "Enter");
    key(page, "[data-panel=mixed]", "Enter");
    page.wait(&count_is("[data-part=parts] input", 2));
    page.wait_for_text("No gauge is written on");
    let mix = "getComputedStyle(document.querySelectorAll('#picture [data-part=beside] .patch')[1]).backgroundColor";
    let near = page.evaluate(mix);
    type_into(page, "input[name=parts-1]", "90");
    page.press("Enter");
    page.wait(&format!("{mix} !== {near}"));
    key(page, "[data-do=near]", "Enter");
    page.wait(&format!("{mix} === {near}"));
    // One part to ten of the two tubes in the mix, as it would come out if their cards had been drawn alike.
    let keys = "[...document.querySelectorAll('#picture [data-part=parts] input')].map((input) => input.dataset.key)";
    let keys: Vec<String> = serde_json::from_value(page.evaluate(keys)).expect("two keys");
    let paints: Vec<_> = keys
        .iter()
        .map(|key| {
            let place: usize = key.trim_start_matches("kept-").parse().expect("a number");
            records[place - 1].constants().expect("it predicts")
        })
        .collect();
    let parts = [(&paints[0], 1.0), (&paints[1], 10.0)];
    let mixed = twoground::picture::mix::mix(&parts, twoground::picture::mix::Unit::Common);
    let lab = twoground::picture::mix::too_thick(&mixed).lab_of();
    key(page, "[data-fold=tint] summary", "Enter");
    for (select, key) in ["tint-tube", "tint-with"].iter().zip(&keys) {
        // By its first letters, as one chooses in any list.
        let at = format!("#picture select[name={select}]");
        page.focus(&at);
        for _ in 0..3 {
            page.press("ArrowUp");
        }
        let down = page.evaluate(&format!(
            "[...document.querySelector('{at}').options].findIndex((option) => option.value === '{key}')"
        ));
        for _ in 0..down.as_u64().expect("it is in the list") {
            page.press("ArrowDown");
        }
        assert_eq!(
            page.evaluate(&format!("document.querySelector('{at}').value")),
            json!(key)
        );
    }
    type_into(page, "form[data-part=tint] input[name=with-parts]", "10");
    by_instrument(page, "tint");
    type_into(page, "form[data-part=tint] input[name=lab]", "60 -70 60");
    page.press("Enter");
    page.wait_for_text("from every mix of");
    page.focus("[data-do=close-alert]");
    page.press("Enter");
    key(page, "input[name=tint-by]:checked", "ArrowRight");
    let typed = format!("{:.2} {:.2} {:.2}", lab.l, lab.a, lab.b);
    type_into(page, "form[data-part=tint] input[name=lab]", &typed);
    tab_passes_everything(page, "mixed");
    page.focus("#picture form[data-part=tint] button");
    page.press("Enter");
    page.wait_for_text(
        "Compared by tints of known ratio, so their parts, by weight, compare: where a part of",
    );
    page.wait_for_text("Kept with the tube");
    page.screenshot("picture-tint");
    let place = keys[0].trim_start_matches("kept-").to_owned();
    page.evaluate(&format!("location.hash = 'tube-{place}'"));
    page.wait_for_text("Tints of known ratio");
    page.screenshot("tube-tint");
    page.focus("#tube [data-tint] button");
    page.press("Enter");
    page.wait("document.querySelector('#tube [data-tint]') === null");
    // One of its films is said to be a coat, which Picture then counts in.
    page.focus("#tube [data-fold=own-film] summary");
    page.press("Enter");
    page.focus("#tube [data-fold=own-film] button");
    page.press("Enter");
    page.wait_for_text("My coat by brush:");
    go(page, "picture");
    picture_has(page, 1);
    page.wait_for_text("No gauge is written on");
}

fn patches_by_keys(page: &mut Browser) {
    key(page, "[data-panel=patches]", "Enter");
    let lab = text(page, "#picture .lab dd:last-child");
    type_into(page, "form[data-part=patch] input[name=way]", "rag");
    key(
        page,
        "form[data-part=patch] select[name=known]",
        "ArrowDown",
    );
    key(
        page,
        "form[data-part=patch] select[name=surface]",
        "ArrowDown",
    );
    type_into(page, "form[data-part=patch] input[name=lab]", &lab);
    page.press("Enter");
    page.wait(&count_is("[data-patch]", 1));
    page.wait_for_text("once its dull surface is taken off");
    page.wait_for_text("by rag");
    tab_passes_everything(page, "patches");
    key(page, "[data-coat]", "Enter");
    page.wait("document.querySelector('#picture [data-film] .what').textContent.includes(' by ')");
    key(page, "[data-keep-coat=rag]", "Enter");
    page.wait(&count_is("[data-keep-coat]", 0));
    // Counted in films of its card again, by the list beside the film.
    page.focus("#picture select[name=way]");
    for _ in 0..3 {
        page.press("ArrowUp");
    }
    page.wait("!document.querySelector('#picture [data-film] .what').textContent.includes(' by ')");
    key(page, "[data-patch] button", "Enter");
    page.wait(&count_is("[data-patch]", 0));
}

#[test]
fn a_picture_is_saved_as_one_works_and_there_are_several() {
    let (server, profile, mut page) = open();
    keep_samples(&mut page, 2);
    go(&mut page, "picture");
    picture_has(&mut page, 1);
    // Its own name, typed colours, a ladder, a masstone.
    page.evaluate("document.querySelector('#picture [data-part=name]').select()");
    page.type_text("<i>Harbour</i> at dusk");
    page.press("Tab");
    page.click("#picture [data-panel=underpainting]");
    page.click("#picture [data-do=clear]");
    page.wait_for_text("No colours yet.");
    page.click("#picture form[data-part=typed] input[name=lab]");
    page.type_text("62.5, 3, ten");
    page.press("Enter");
    page.wait_for_text("Type three numbers");
    page.evaluate(
        "document.querySelector('#picture form[data-part=typed] input[name=lab]').select()",
    );
    page.type_text("62.5 3 -10");
    page.click("#picture form[data-part=typed] input[name=name]");
    page.type_text("sky");
    page.press("Enter");
    page.wait("document.querySelectorAll('#picture [data-row]').length === 1");
    page.click("#picture form[data-part=ladder] button");
    page.wait("document.querySelectorAll('#picture [data-row]').length === 6");
    page.click("#picture form[data-part=masstone] button");
    page.wait("document.querySelectorAll('#picture [data-row]').length === 7");
    page.evaluate("(() => { const s = document.querySelector('#picture [data-row=\"0\"] select'); s.value = 'matt'; s.dispatchEvent(new Event('change')); })()");
    page.wait_for_text("sky");
    saved(&mut page);
    page.screenshot("picture-underpainting");
    let rows = numbers(&mut page);
    assert_eq!(rows.len(), 7);
    assert_eq!(rows[0][..2], ["sky", "62.5, 3.0, -10.0"]);
    assert!(rows[6][0].ends_with("masstone"));

    // A second picture does not touch the first.
    page.click("#picture [data-do=pictures]");
    page.click("#picture [data-do=new]");
    page.wait("document.querySelector('#picture [data-part=name]').value === 'My picture'");
    picture_has(&mut page, 1);
    saved(&mut page);
    page.close();

    // The last one open is open again; the first comes back as it was.
    let mut page = Browser::open(&profile, &server.origin);
    go(&mut page, "picture");
    page.wait("document.querySelector('#picture [data-part=name]').value === 'My picture'");
    page.click("#picture [data-do=pictures]");
    page.wait("document.querySelectorAll('#picture [data-picture]').length === 2");
    page.click("#picture [data-picture='1'] button");
    page.wait(
        "document.querySelector('#picture [data-part=name]').value === '<i>Harbour</i> at dusk'",
    );
    assert_eq!(numbers(&mut page), rows);
    // Deleting asks first.
    page.click("#picture [data-picture='2'] button[aria-label^=Delete]");
    page.click("#delete button[value=no]");
    page.click("#picture [data-picture='2'] button[aria-label^=Delete]");
    page.click("#delete button[value=yes]");
    page.wait("document.querySelectorAll('#picture [data-picture]').length === 1");
    // The shelf has lost nothing.
    shelf_has(&mut page, 2);
    page.close();
}

#[test]
fn the_sample_that_a_picture_was_begun_with_stays_at_hand() {
    let (_server, _profile, mut page) = open();
    go(&mut page, "picture");
    picture_has(&mut page, 1);
    saved(&mut page);
    // The white is the newer one.
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-scans");
    let files =
        ["rope-ochre", "foam-white"].map(|name| folder.join(format!("{name}.pigment.json")));
    go(&mut page, "tubes");
    page.upload("#pigment", &files);
    shelf_has(&mut page, 2);
    go(&mut page, "picture");
    page.wait("document.querySelectorAll('#picture .tube-row').length === 2");
    page.click("#picture [data-tube=kept-1]");
    picture_has(&mut page, 2);
    saved(&mut page);
    for _ in 0..2 {
        assert_eq!(
            page.evaluate("document.querySelector('#picture').textContent.includes('not at hand')"),
            false
        );
        page.reload();
        picture_has(&mut page, 2);
    }
    // A new picture has a name of its own, and begins with a tube that lets something be seen.
    page.click("#picture [data-do=pictures]");
    page.click("#picture [data-do=new]");
    page.wait("document.querySelector('#picture [data-part=name]').value === 'My picture 2'");
    picture_has(&mut page, 1);
    assert_eq!(text(&mut page, "#picture [data-film] .name"), "rope ochre");
    page.close();
}

/// A shelf of the first version of the database, with one paint, gets pictures beside it and keeps the paint.
#[test]
fn a_kept_paint_survives_the_newer_structure() {
    let (server, profile, mut page) = open();
    let pigment = &samples::samples()[0].pigment;
    let record = std::fs::read_to_string(pigment).expect("a sample");
    page.evaluate(&format!(
        "new Promise((done, failed) => {{
           const gone = indexedDB.deleteDatabase('twoground');
           gone.onerror = failed;
           gone.onsuccess = () => {{
             const asked = indexedDB.open('twoground', 1);
             asked.onupgradeneeded = () => asked.result.createObjectStore('paints', {{ autoIncrement: true }});
             asked.onsuccess = () => {{
               const change = asked.result.transaction('paints', 'readwrite');
               change.objectStore('paints').put({});
               change.oncomplete = () => {{ asked.result.close(); done(1); }};
             }};
             asked.onerror = failed;
           }};
         }})",
        json!(record)
    ));
    page.close();
    let mut page = Browser::open(&profile, &server.origin);
    shelf_has(&mut page, 1);
    go(&mut page, "picture");
    picture_has(&mut page, 1);
    saved(&mut page);
    shelf_has(&mut page, 1);
    page.click("#tubes [data-kept] button[aria-label^=Export]");
    let kept: Value =
        serde_json::from_str(&std::fs::read_to_string(page.download()).expect("the file"))
            .expect("JSON");
    assert_eq!(kept, serde_json::from_str::<Value>(&record).expect("JSON"));
    page.close();
}

#[test]
fn what_is_wanted_is_answered_and_laid_on() {
    let (_server, _profile, mut page) = open();
    // The white among them.
    keep_samples(&mut page, 7);
    go(&mut page, "picture");
    picture_has(&mut page, 1);
    page.click("#picture [data-panel=wanted-panel]");
    // A change from here, laid on top.
    page.click("#picture [data-colour='2']");
    page.click("#picture [data-way=darker]");
    page.wait("document.querySelectorAll('#picture .wanted-row').length >= 1");
    page.wait_for_text("One more film on top makes grey 3 darker");
    page.screenshot("picture-wanted");
    let foretold = text(&mut page, "#picture .wanted-row .name");
    page.click("#picture .wanted-row button");
    picture_has(&mut page, 2);
    assert_eq!(text(&mut page, "#picture [data-film='1'] .name"), foretold);
    // The colour that these two make, in one film, laid alone.
    let lab = text(&mut page, "#picture .lab dd:last-child");
    let field = "#picture form[data-part=wanted] input[name=lab]";
    page.focus(field);
    page.evaluate(&format!("document.querySelector('{field}').select()"));
    page.type_text(&lab);
    page.press("Enter");
    page.wait_for_text(
        "No tube at hand reaches it in one film over bare grey 3; these come nearest.",
    );
    page.click("#picture .wanted-row button[aria-label^='Lay it alone']");
    picture_has(&mut page, 1);
    // Greys under it, once there is something to look for.
    page.click("#picture form[data-part=greys] button");
    page.wait_for_text("Type at least one wanted colour");
    beside(&mut page, "#picture form[data-part=greys] button");
    for (i, lab) in ["70 5 10", "50 5 10", "2 90 90"].into_iter().enumerate() {
        page.click(&format!(
            "#picture form[data-part=greys] input[name=lab{i}]"
        ));
        page.type_text(lab);
    }
    page.press("Enter");
    page.wait("document.querySelectorAll('#picture .wanted-row.greys').length === 3");
    assert_eq!(
        page.evaluate("document.querySelectorAll('#picture .wanted-row.greys')[2].dataset.reached"),
        "false"
    );
    // Mixed instead, in parts of one's own.
    page.click("#picture [data-panel=mixed]");
    page.wait("document.querySelectorAll('#picture [data-part=parts] input').length === 2");
    page.wait_for_text("No gauge is written on");
    let mix = "getComputedStyle(document.querySelectorAll('#picture [data-part=beside] .patch')[1]).backgroundColor";
    let near = page.evaluate(mix);
    page.focus("#picture input[name=parts-1]");
    page.evaluate("document.querySelector('#picture input[name=parts-1]').select()");
    page.type_text("80");
    page.press("Tab");
    page.wait(&format!("{mix} !== {near}"));
    page.screenshot("picture-mixed");
    page.click("#picture [data-do=near]");
    page.wait(&format!("{mix} === {near}"));
    page.close();
}

#[test]
fn colours_are_picked_from_a_scan_by_mouse_and_by_keys() {
    let (_server, _profile, mut page) = open();
    keep_samples(&mut page, 1);
    go(&mut page, "picture");
    picture_has(&mut page, 1);
    page.click("#picture [data-panel=underpainting]");
    page.click("#picture [data-do=clear]");
    page.wait("document.querySelectorAll('#picture [data-row]').length === 0");
    // A picture of one colour: what is picked is that colour, within the rounding of 8 bits.
    let folder = crate::devtools::Folder::new("pick");
    let file = folder.path().join("scrap.png");
    image::RgbImage::from_pixel(300, 200, image::Rgb([200, 60, 30]))
        .save(&file)
        .expect("a picture is written");
    page.upload("#pick-file", &[file]);
    page.wait("document.querySelector('#picture [data-part=picked] .patch') !== null");
    page.wait_for_text("no colour profile; sRGB is assumed");
    let [x, y] = page.middle("#picture .pick-sheet canvas");
    page.drag([x, y], [x + 30.0, y + 20.0]);
    page.wait_for_text("average of 1");
    let scan = text(&mut page, "#picture [data-part=picked] .small");
    page.click("#picture input[name=pick-kind][value=photo]");
    page.wait_for_text("colours are made to please");
    assert_ne!(text(&mut page, "#picture [data-part=picked] .small"), scan);
    page.click("#picture [data-do=pick-add]");
    page.wait("document.querySelectorAll('#picture [data-row]').length === 1");
    page.focus("#picture .pick-sheet canvas");
    page.press("ArrowLeft");
    page.press("Enter");
    page.wait("document.querySelectorAll('#picture [data-row]').length === 2");
    page.wait_for_text("picked from scrap.png");
    page.screenshot("picture-pick");
    let rows = numbers(&mut page);
    let expected = twoground::colour::of_screen([200, 60, 30]);
    let printed = format!("{:.1}, {:.1}, {:.1}", expected.l, expected.a, expected.b);
    assert_eq!(rows[0][1], printed);
    assert_eq!(rows[1][1], printed);
    // What is no picture is said.
    let bad = folder.path().join("bad.png");
    std::fs::write(&bad, b"not a picture").expect("a file");
    page.click("#picture [data-panel=underpainting]");
    page.upload("#pick-file", &[bad]);
    page.wait_for_text("not a PNG, JPEG or TIFF");
    page.close();
}

#[test]
fn a_painted_patch_stands_beside_the_prediction_and_teaches_a_coat() {
    let (_server, _profile, mut page) = open();
    keep_samples(&mut page, 1);
    go(&mut page, "picture");
    picture_has(&mut page, 1);
    page.click("#picture [data-colour='1']");
    page.wait("document.querySelector('#picture [data-part=detail] h2').textContent === 'grey 2'");
    page.click("#picture [data-panel=patches]");
    page.wait_for_text("over grey 2, and it is dry.");
    // As it would come out in three coats, though one was meant.
    page.click("#picture [data-coats='3']");
    page.wait("document.querySelector('#picture [data-say=coats]').textContent === '3 coats'");
    let lab = text(&mut page, "#picture .lab dd:last-child");
    page.click("#picture [data-coats='1']");
    page.wait("document.querySelector('#picture [data-say=coats]').textContent === '1 coat'");
    by_instrument(&mut page, "patch");
    page.click("#picture form[data-part=patch] input[name=lab]");
    page.type_text(&lab);
    page.press("Enter");
    page.wait("document.querySelectorAll('#picture [data-patch]').length === 1");
    page.wait_for_text("My coat of");
    page.screenshot("picture-patches");
    let before = text(&mut page, "#picture .pull output");
    page.click("#picture [data-coat]");
    page.wait(&format!(
        "document.querySelector('#picture .pull output').textContent !== {}",
        json!(before)
    ));
    // One of the painter's coats now looks like the three.
    let now = text(&mut page, "#picture .lab dd:last-child");
    let numbers = |text: &str| -> Vec<f64> {
        text.split(", ")
            .map(|v| v.parse().expect("a number"))
            .collect()
    };
    for (one, three) in numbers(&now).iter().zip(numbers(&lab)) {
        assert!((one - three).abs() < 0.3, "{now} for {lab}");
    }
    page.click("#picture [data-do=undo]");
    page.wait(&format!(
        "document.querySelector('#picture .pull output').textContent === {}",
        json!(before)
    ));
    // Kept with the tube by its way of working, the coat is there after a reload and in another picture, and on the tube's page.
    page.wait_for_text("by brush");
    page.click("#picture [data-keep-coat=brush]");
    page.wait_for_text("Kept with the tube");
    page.click("#picture [data-patch] button");
    page.wait("document.querySelectorAll('#picture [data-patch]').length === 0");
    saved(&mut page);
    page.reload();
    picture_has(&mut page, 1);
    page.click("#picture [data-do=pictures]");
    page.click("#picture [data-do=new]");
    page.wait("document.querySelector('#picture [data-part=name]').value === 'My picture 2'");
    picture_has(&mut page, 1);
    assert_eq!(
        page.evaluate("document.querySelectorAll('#picture [data-patch]').length"),
        0
    );
    let counted = "document.querySelector('#picture select[name=way]')";
    page.wait(&format!("{counted}.options.length === 2"));
    page.evaluate(&format!(
        "{counted}.value = '0', {counted}.dispatchEvent(new Event('change'))"
    ));
    page.wait("document.querySelector('#picture [data-film] .what').textContent.startsWith('1 coat by brush')");
    page.screenshot("picture-my-coat");
    saved(&mut page);
    go(&mut page, "tubes");
    page.click("#tubes [data-kept] button[aria-label^=Open]");
    page.wait_for_text("My coat by brush:");
    page.screenshot("tube-my-coat");
    page.click("#tube [data-scrap] button");
    page.wait("document.querySelector('#tube [data-scrap]') === null");
    go(&mut page, "tubes");
    page.click("#tubes [data-do=undo]");
    page.wait_for_text("Taken back");
    page.click("#tubes [data-kept] button[aria-label^=Open]");
    page.wait_for_text("My coat by brush:");
    page.close();
}

/// The painter's rose scatters more than its card says: four patches tell, and the picture predicts it so until that is undone.
#[test]
fn painted_patches_correct_the_scatter_of_a_tube() {
    let (_server, _profile, mut page) = open();
    let rose = samples::samples()
        .into_iter()
        .find(|sample| sample.pigment.ends_with("cliff-rose.pigment.json"))
        .expect("a sample of body paint");
    let file = fs::read_to_string(&rose.pigment).expect("its pigment file");
    let card = twoground::paint::Record::read(&file).expect("a pigment file");
    let real = card.constants().expect("it predicts").scattering_times(1.7);
    go(&mut page, "tubes");
    page.upload("#pigment", &[rose.pigment]);
    shelf_has(&mut page, 1);
    go(&mut page, "picture");
    picture_has(&mut page, 1);
    page.click("#picture [data-do=as-drawn]");
    page.click("#picture [data-panel=patches]");
    // Said once, it holds for the next patches too.
    by_instrument(&mut page, "patch");
    for (patch, (colour, lightness)) in [(0, 92.0), (6, 26.0), (5, 37.0), (6, 26.0)]
        .into_iter()
        .enumerate()
    {
        page.click(&format!("#picture [data-colour='{colour}']"));
        page.wait_for_text(&format!("over grey {}, and it is dry.", colour + 1));
        let ground =
            twoground::picture::Ground::of(twoground::colour::Lab::new(lightness, 0.0, 0.0));
        let lab = twoground::picture::wanted::film_lab(&real, 1.0, &ground);
        page.click("#picture form[data-part=patch] input[name=lab]");
        page.type_text(&format!("{:.2}, {:.2}, {:.2}", lab.l, lab.a, lab.b));
        page.press("Enter");
        page.wait(&format!(
            "document.querySelectorAll('#picture [data-patch]').length === {}",
            patch + 1
        ));
    }
    page.wait_for_text("times as much as its card says");
    // A scrap of another colour is logged where it is: what lies on the picture stays.
    let chosen = "#picture form[data-part=patch] select[name=over]";
    page.evaluate(&format!("(() => {{ const c = document.querySelector('{chosen}'); c.value = '2'; c.dispatchEvent(new Event('input', {{ bubbles: true }})); }})()"));
    page.wait_for_text("over grey 3, and it is dry.");
    let one = "#picture form[data-part=patch] select[name=tube]";
    page.evaluate(&format!("(() => {{ const c = document.querySelector('{one}'); c.selectedIndex = 1; c.dispatchEvent(new Event('input', {{ bubbles: true }})); }})()"));
    page.focus("#picture form[data-part=patch] input[name=coats]");
    page.evaluate("document.activeElement.select()");
    page.type_text("2");
    page.wait_for_text("You painted 2 coats of");
    page.screenshot("picture-patch-other");
    page.evaluate(&format!("(() => {{ const c = document.querySelector('{one}'); c.selectedIndex = 0; c.dispatchEvent(new Event('input', {{ bubbles: true }})); }})()"));
    let before = text(&mut page, "#picture .lab dd:last-child");
    page.click("#picture [data-scatter]");
    page.wait_for_text("times as much as on its card.");
    let corrected = text(&mut page, "#picture .lab dd:last-child");
    assert_ne!(corrected, before);
    page.screenshot("picture-scatter");
    saved(&mut page);
    page.reload();
    go(&mut page, "picture");
    picture_has(&mut page, 1);
    page.click("#picture [data-colour='6']");
    page.click("#picture [data-panel=patches]");
    page.wait_for_text("times as much as on its card.");
    page.wait_for_text("over grey 7, and it is dry.");
    assert_eq!(text(&mut page, "#picture .lab dd:last-child"), corrected);
    page.click("#picture [data-scatter]");
    page.wait_for_text("times as much as its card says");
    assert_eq!(text(&mut page, "#picture .lab dd:last-child"), before);
    page.close();
}

/// Where the screen has Display-P3, what sRGB cuts is shown in it.
#[test]
fn a_wide_screen_gets_its_colours() {
    let (_server, _profile, mut page) = open();
    page.call_page(
        "Emulation.setEmulatedMedia",
        json!({"features": [{"name": "color-gamut", "value": "p3"}]}),
    );
    assert_eq!(
        page.evaluate("matchMedia('(color-gamut: p3)').matches"),
        json!(true)
    );
    keep_samples(&mut page, 4);
    go(&mut page, "picture");
    picture_has(&mut page, 1);
    // A yellow between the two.
    page.click("#picture [data-panel=underpainting]");
    page.focus("#picture form[data-part=typed] input[name=lab]");
    page.type_text("85, 5, 95");
    page.press("Enter");
    page.wait("[...document.querySelectorAll('#picture svg rect')].some((part) => part.getAttribute('fill').startsWith('color(display-p3'))");
    page.close();
}

#[test]
fn a_large_picture_to_pick_from_shows_that_it_is_read_and_can_be_stopped() {
    let (_server, _profile, mut page) = open();
    go(&mut page, "picture");
    picture_has(&mut page, 1);
    page.click("#picture [data-panel=underpainting]");
    let folder = crate::devtools::Folder::new("large");
    let file = folder.path().join("large.png");
    image::RgbImage::from_pixel(12_000, 10_000, image::Rgb([200, 200, 200]))
        .save(&file)
        .expect("a picture is written");
    page.upload("#pick-file", &[file]);
    page.wait("!document.querySelector('#progress').hidden");
    page.wait_for_text("Reading large.png …");
    page.click("[data-do=cancel]");
    page.wait("document.querySelector('#progress').hidden");
    page.wait_for_text("Stopped. What was here before stays.");
    // What the worker held of the picture is there again when it is asked for.
    page.click("#picture [data-do=more]");
    page.wait("document.querySelector('#picture [data-say=coats]').textContent === '2 coats'");
    page.close();
}

/// Lanes stand in as many rows as the words of their names need, none broken, none narrower than a finger, nothing scrolling sideways.
#[test]
fn long_names_of_colours_are_not_broken() {
    const BROKEN: &str =
        "[...document.querySelectorAll('#picture .lane-names button')].flatMap((button) =>
      [...button.textContent.matchAll(/[^\\s-]+/g)].filter(({ 0: word, index }) => {
        const range = document.createRange();
        range.setStart(button.firstChild, index);
        range.setEnd(button.firstChild, index + word.length);
        return range.getClientRects().length !== 1;
      })).map(([word]) => word).join()";
    const NARROW: &str = "[...document.querySelectorAll('#picture [data-colour]')].filter((lane) => lane.getBoundingClientRect().width < 43.9 || lane.scrollWidth > lane.clientWidth).length";
    const SIDEWAYS: &str = "[document.documentElement, document.querySelector('#picture .lane-sheet')].filter((e) => e.scrollWidth > e.clientWidth).length";
    const ROWS: &str = "document.querySelectorAll('#picture .lane-names').length";
    let (_server, _profile, mut page) = open();
    go(&mut page, "picture");
    picture_has(&mut page, 1);
    assert_eq!(page.evaluate(ROWS), 1);
    page.viewport(390, 844);
    // Nine of 44 pixels are wider than this screen.
    page.wait(&format!("{ROWS} === 2"));
    assert_eq!([NARROW, SIDEWAYS].map(|e| page.evaluate(e)), [0, 0]);
    page.viewport(1280, 900);
    page.wait(&format!("{ROWS} === 1"));
    page.click("#picture [data-panel=underpainting]");
    for (place, name) in ["Ultramarine shadow", "Hull, burnt umber imprimatura"]
        .iter()
        .enumerate()
    {
        type_into(&mut page, &format!("[data-focus=name-{place}]"), name);
        page.press("Tab");
        page.wait(&format!(
            "document.querySelector('#picture [data-colour=\"{place}\"]').textContent === '{name}'"
        ));
    }
    for width in [1280, 390] {
        page.viewport(width, 900);
        page.wait(&format!("{ROWS} === {}", if width == 390 { 3 } else { 2 }));
        assert_eq!(page.evaluate(BROKEN), "");
        assert_eq!([NARROW, SIDEWAYS].map(|e| page.evaluate(e)), [0, 0]);
        page.screenshot(&format!("picture-long-names-{width}"));
    }
    page.close();
}

/// A pull changes what is drawn and draws nothing anew; a knife that was pulled back to where it stood, or taken from
/// under the finger, is let go.
#[test]
fn a_pull_keeps_what_is_drawn() {
    let (_server, _profile, mut page) = open();
    go(&mut page, "picture");
    picture_has(&mut page, 1);
    // Notches come with the first colour that the screen cannot show, and what is to be said of a film goes with its build.
    let drawn =
        "[...document.querySelectorAll('#picture .desk :not(.stripe i, [data-part=cautions] *)')]";
    page.evaluate(&format!("globalThis.drawn = {drawn}; true"));
    let colours = "[...document.querySelectorAll('#picture .band path:not(.notch)')].map((p) => p.getAttribute('fill')).join()";
    let before = page.evaluate(colours);
    let to = "(value) => { const p = document.querySelector('#picture-pull'); p.value = value; p.dispatchEvent(new Event('input', { bubbles: true })); }";
    let stood = page.evaluate("document.querySelector('#picture-pull').value");
    page.evaluate(&format!("({to})(150)"));
    page.wait(&format!("{colours} !== {before}"));
    assert_eq!(
        page.evaluate(&format!("{drawn}.filter((e, i) => e !== drawn[i]).length")),
        0
    );
    // The number is of the film that is seen: it changes with the colours, not with the knife, which is ahead of both.
    let together = page.evaluate(
        "new Promise((done) => {
           const [pull, said, seen] = ['#picture-pull', '#picture .pull output', '#picture .band path:not(.notch)'].map((s) => document.querySelector(s));
           const now = () => [said.textContent, seen.getAttribute('fill')];
           const was = now();
           let at_once = [];
           const drawn = new MutationObserver(() => { drawn.disconnect(); done([at_once.join() === was.join(), ...now().map((text, i) => text !== was[i])]); });
           drawn.observe(document.querySelector('#picture .desk'), { subtree: true, attributes: true, attributeFilter: ['fill'], childList: true, characterData: true });
           pull.value = 90;
           pull.dispatchEvent(new Event('input', { bubbles: true }));
           at_once = now();
         })",
    );
    assert_eq!(together, json!([true, true, true]));
    // Who pulls faster than this computer computes sees the film go along all the same.
    let on_the_way = page.evaluate(
        "(async () => {
           const pull = document.querySelector('#picture-pull');
           const seen = document.querySelector('#picture .band path:not(.notch)');
           const colours = new Set();
           for (let turn = 0; turn < 150; turn++) {
             pull.value = 40 + turn % 100;
             pull.dispatchEvent(new Event('input', { bubbles: true }));
             await new Promise((done) => setTimeout(done, 1));
             colours.add(seen.getAttribute('fill'));
           }
           return colours.size;
         })()",
    );
    assert!(on_the_way.as_u64() > Some(5), "{on_the_way}");
    // As a browser does when a knife comes back: no change is told, only that the finger is off.
    page.evaluate(&format!("({to})({stood})"));
    page.evaluate("document.querySelector('#picture-pull').dispatchEvent(new PointerEvent('pointerup', { bubbles: true }))");
    saved(&mut page);
    page.click("#picture [data-do=as-drawn]");
    page.wait("document.querySelector('#picture .pull output').textContent.startsWith('1.0 ×')");
    assert_ne!(
        page.evaluate("document.querySelector('#picture-pull').value"),
        stood
    );
    // A finger that the browser took over has let go where the knife stands: that is a step, and Undo takes the knife back too.
    let stood = page.evaluate("document.querySelector('#picture-pull').value");
    let before = page.evaluate(colours);
    page.evaluate(&format!("({to})(150)"));
    page.wait(&format!("{colours} !== {before}"));
    page.evaluate("document.querySelector('#picture-pull').dispatchEvent(new PointerEvent('pointercancel', { bubbles: true }))");
    saved(&mut page);
    page.click("#picture [data-do=undo]");
    page.wait(&format!(
        "{colours} === {before} && document.querySelector('#picture-pull').value === {stood}"
    ));
    page.close();
}

/// What is typed is kept at a pause, the field still in hand; deleting the open picture opens the other one; and keys stay near
/// what can be pressed no more.
#[test]
fn nothing_typed_is_lost_and_keys_and_pictures_stay_where_they_are() {
    let (_server, _profile, mut page) = open();
    go(&mut page, "picture");
    picture_has(&mut page, 1);
    saved(&mut page);
    type_into(&mut page, "[data-part=name]", "Old harbour");
    page.evaluate("new Promise((done) => setTimeout(() => done(1), 1500))");
    saved(&mut page);
    page.click("#picture [data-panel=notes]");
    page.click("#picture [data-part=notes] textarea");
    page.type_text("umber first");
    page.evaluate("new Promise((done) => setTimeout(() => done(1), 1500))");
    saved(&mut page);
    page.reload();
    picture_has(&mut page, 1);
    page.click("#picture [data-panel=notes]");
    page.wait(
        "document.querySelector('#picture [data-part=notes] textarea').value === 'umber first'",
    );
    // Coats to the end and back: the other button has the keys.
    page.focus("#picture [data-do=fewer]");
    page.press("Enter");
    page.wait("document.activeElement.dataset.do === 'more'");
    page.press("Enter");
    page.wait("document.querySelector('#picture [data-say=coats]').textContent === '1 coat'");
    // Another picture, deleted while it is open.
    page.click("#picture [data-do=pictures]");
    page.click("#picture [data-do=new]");
    page.wait("document.querySelectorAll('#picture [data-picture]').length === 2");
    page.click("#picture [data-picture]:nth-child(2) button[aria-label^=Delete]");
    page.click("#delete button[value=yes]");
    page.wait("document.querySelectorAll('#picture [data-picture]').length === 1");
    page.wait("document.querySelector('#picture [data-part=name]').value === 'Old harbour'");
    page.close();
}

#[test]
fn a_mix_names_the_tubes_of_its_films_whichever_readings_they_are() {
    let (_server, _profile, mut page) = open();
    // A picture begun with a sample; then the painter has a reading of the same tube, which stands for both.
    go(&mut page, "picture");
    picture_has(&mut page, 1);
    saved(&mut page);
    let film = text(&mut page, "#picture [data-film='0'] .name");
    keep_samples(&mut page, samples::samples().len());
    go(&mut page, "picture");
    picture_has(&mut page, 1);
    page.click("#picture [data-panel=mixed]");
    page.wait("document.querySelectorAll('#picture [data-part=parts] input').length > 1");
    assert_eq!(text(&mut page, "#picture [data-part=parts] span"), film);
    page.close();
}

/// Films of sample paints, which nobody owns, make way for the first tube of one's own; those of one's own stay below the next.
#[test]
fn a_first_tube_is_laid_alone_and_the_next_on_top() {
    let (_server, _profile, mut page) = open();
    go(&mut page, "picture");
    picture_has(&mut page, 1);
    let files: Vec<PathBuf> = crate::samples::samples()
        .into_iter()
        .skip(1)
        .take(2)
        .map(|sample| sample.pigment)
        .collect();
    go(&mut page, "tubes");
    page.upload("#pigment", &files);
    let names = "[...document.querySelectorAll('#picture [data-film] .name')].map((e) => e.textContent).join()";
    let mut laid: Vec<String> = Vec::new();
    for row in [1, 2] {
        shelf_has(&mut page, 2);
        let name = page.evaluate(&format!(
            "document.querySelector('#tubes [data-kept]:nth-child({row}) h2').textContent"
        ));
        laid.insert(0, name.as_str().expect("a name").to_owned());
        page.click(&format!(
            "#tubes [data-kept]:nth-child({row}) button[aria-label^='In my picture']"
        ));
        // The uppermost film stands first.
        page.wait(&format!("{names} === {:?}", laid.join(",")));
    }
    page.close();
}
