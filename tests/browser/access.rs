//! Every screen against the rules of axe-core (WCAG 2.2 and its best practices), wide and narrow, by script as a screen reader meets it.
//!
//! axe-core comes by npm into `target/axe`; it is no part of the product.

use super::*;
use std::sync::LazyLock;

const VERSION: &str = "axe-core@4.14.1";

/// The checker's source; none where npm cannot install it. Once for all tests: two npms at once in one folder undo each other.
static AXE: LazyLock<Option<String>> = LazyLock::new(|| {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("target/axe");
    let file = folder.join("node_modules/axe-core/axe.min.js");
    if !file.exists() {
        let npm = Command::new("npm")
            .args(["install", "--silent", "--no-save", "--prefix"])
            .arg(&folder)
            .arg(VERSION)
            .status();
        if !npm.is_ok_and(|status| status.success()) {
            return None;
        }
    }
    Some(fs::read_to_string(file).expect("axe-core's script"))
});

/// What is against the rules on the screen as it is, in words.
fn violations(page: &mut Browser, state: &str) -> Vec<String> {
    let found = page.evaluate(
        "axe.run(document, { resultTypes: ['violations'], rules: { 'color-contrast-enhanced': { enabled: true }, 'target-size': { enabled: true } } }).then(({ violations }) => violations.flatMap(({ id, help, nodes }) =>
           nodes.map(({ target, failureSummary }) => `${id}: ${help}: ${target.join(' ')}: ${failureSummary}`)))",
    );
    // Ours: nothing to press is smaller than a finger. Links within a sentence may be.
    let small = page.evaluate(
        "[...document.querySelectorAll('button, select, summary, nav a, input:not([type=radio], [type=checkbox], [type=file], [type=range])')]
           .filter((e) => e.checkVisibility() && innerWidth < 600)
           .flatMap((e) => {
             const { width, height } = e.getBoundingClientRect();
             return width < 43.5 || height < 43.5 ? [`smaller than a finger: ${e.outerHTML.slice(0, 120)} ${width} x ${height}`] : [];
           })",
    );
    let lists = [found, small];
    let both = lists
        .iter()
        .flat_map(|list| list.as_array().expect("a list"));
    both.map(|words| format!("{state}: {}", words.as_str().unwrap_or_default()))
        .collect()
}

#[test]
fn nothing_on_any_screen_is_against_the_rules_of_access() {
    let Some(axe) = &*AXE else {
        eprintln!("Not checked: npm could not install {VERSION}.");
        return;
    };
    let (_server, _profile, mut page) = open();
    let mut wrong = Vec::new();
    for [width, height] in [[1280, 900], [390, 844]] {
        page.viewport(width, height);
        page.reload();
        page.wait("document.querySelectorAll('#start [data-part=samples] button').length > 0");
        page.evaluate(&format!("(() => {{ {axe}; return 1; }})()"));
        let mut check = |page: &mut Browser, state: &str| {
            wrong.extend(violations(page, &format!("{width}, {state}")));
        };
        page.click("#start [data-fold=blanks] > summary");
        page.wait("document.querySelector('#start [data-part=preview] img')");
        check(&mut page, "start");
        read(&mut page, &samples::samples()[0].scan);
        page.evaluate(
            "document.querySelectorAll('#card details').forEach((fold) => (fold.open = true))",
        );
        check(&mut page, "card");
        name_and_keep(&mut page, "first");
        check(&mut page, "kept");
        go(&mut page, "tubes");
        page.wait("document.querySelectorAll('#tubes [data-kept]').length > 0");
        check(&mut page, "tubes");
        page.evaluate(
            "location.hash = `#tube-${document.querySelector('#tubes [data-kept]').dataset.kept}`",
        );
        page.wait("!document.querySelector('#tube').hidden && document.querySelector('#tube h1').textContent");
        check(&mut page, "tube");
        go(&mut page, "picture");
        picture::picture_has(&mut page, 1);
        page.evaluate(
            "document.querySelectorAll('#picture details').forEach((fold) => (fold.open = true))",
        );
        check(&mut page, "picture");
        for place in ["sure", "cautions"] {
            go(&mut page, place);
            check(&mut page, place);
        }
        let letter = Folder::new("letter");
        let file = letter.path().join("letter.png");
        fs::write(&file, "Dear painter, this is no picture.").expect("a file");
        go(&mut page, "cards");
        page.upload("#scan", &[file]);
        page.wait("!document.querySelector('#alert').hidden");
        check(&mut page, "alert");
        // The reading would come back after the next reload.
        page.evaluate("document.querySelector('#card [data-do=another]').click()");
        page.wait("!document.querySelector('#start').hidden");
        // A reading in progress would come back with the reload.
        page.evaluate("document.querySelector('#card [data-do=another]').click()");
        page.wait("!document.querySelector('#start').hidden");
        page.evaluate("new Promise((done) => setTimeout(() => done(1), 800))");
    }
    page.close();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn nothing_under_glass_is_against_the_rules_of_access() {
    let Some(axe) = &*AXE else {
        eprintln!("Not checked: npm could not install {VERSION}.");
        return;
    };
    let (_server, _profile, mut page) = open();
    let mut wrong = Vec::new();
    page.evaluate(&format!("(() => {{ {axe}; return 1; }})()"));
    for [width, height] in [[1280, 900], [390, 844]] {
        page.viewport(width, height);
        let mut check = |page: &mut Browser, state: &str| {
            wrong.extend(violations(page, &format!("{width}, {state}")));
        };
        page.evaluate("location.hash = '#glass'");
        page.wait("!document.querySelector('#glass').hidden");
        check(&mut page, "nothing open");
        page.click("[data-do=glass-sample]");
        page.wait("!document.querySelector('#glass [data-part=open]').hidden");
        for tool in ["look", "brush", "like", "known"] {
            page.click(&format!("#glass input[name=tool][value={tool}]"));
            check(&mut page, tool);
        }
        page.click("#glass [data-do=glass-close]");
    }
    page.close();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
