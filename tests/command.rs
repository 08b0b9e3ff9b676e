//! The program as it is called from a shell.

#[path = "support/bad_scans.rs"]
mod bad_scans;
#[path = "support/samples.rs"]
mod samples;
#[path = "browser/server.rs"]
mod server;

use std::fs;
use std::io::{ErrorKind, Read, Write};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use serde_json::{Value, json};
use server::Server;
use twoground::colour::Lab;
use twoground::page::Change;
use twoground::paint::{Record, file::Surface};
use twoground::picture;

fn twoground(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_twoground"))
        .args(arguments)
        .output()
        .expect("the program starts")
}

fn text(bytes: &[u8]) -> &str {
    std::str::from_utf8(bytes).expect("UTF-8")
}

/// Exit code 2, nothing on standard output, and one sentence that holds these words.
fn assert_usage(arguments: &[&str], words: &str) {
    let output = twoground(arguments);
    assert_eq!(output.status.code(), Some(2), "{arguments:?}");
    assert_eq!(text(&output.stdout), "", "{arguments:?}");
    let said = text(&output.stderr);
    assert!(said.contains(words), "{arguments:?}: {said}");
    assert_eq!(said.lines().count(), 1, "{arguments:?}: {said}");
}

#[test]
fn help_and_version_are_on_standard_output() {
    for arguments in [&["--help"][..], &["read", "--help"], &["serve", "-h"]] {
        let output = twoground(arguments);
        assert!(output.status.success());
        for command in ["twoground [serve]", "twoground read", "twoground glaze"] {
            assert!(text(&output.stdout).contains(command), "{arguments:?}");
        }
        assert_eq!(text(&output.stderr), "");
    }
    let version = concat!("Two Grounds ", env!("CARGO_PKG_VERSION"), "\n");
    assert_eq!(text(&twoground(&["--version"]).stdout), version);
}

#[test]
fn a_wrong_command_line_is_told_in_one_sentence() {
    assert_usage(&["paint"], "no command \"paint\"");
    assert_usage(&["--colour"], "'--colour'");
    assert_usage(&["serve", "--port", "eighty"], "eighty");
    assert_usage(&["serve", "--port", "70000"], "70000");
    assert_usage(&["read"], "at least one scan");
    assert_usage(&["read", "--films", "7", "scan.png"], "from 1 to 6");
    assert_usage(&["read", "--films", "-1", "scan.png"], "\"-1\"");
    assert_usage(
        &["read", "--corners", "1,2,3,4,5,6,7", "scan.png"],
        "eight numbers",
    );
    assert_usage(
        &["read", "--corners", "1,2,3,4,5,6,7,inf", "scan.png"],
        "eight numbers",
    );
    assert_usage(
        &["read", "--scanner", "best", "scan.png"],
        "unknown, white-light, three-lights",
    );
    assert_usage(&["glaze", "--over", "50,0,0"], "at least one pigment file");
    assert_usage(&["glaze", "paint.json"], "--over L,a,b");
    assert_usage(
        &["glaze", "paint.json", "--over", "50,0"],
        "--over takes L*,a*,b*",
    );
    assert_usage(
        &["glaze", "paint.json", "--over", "150,0,0"],
        "L* from 0 to 100",
    );
    assert_usage(
        &[
            "glaze",
            "paint.json",
            "--over",
            "50,0,0",
            "--film",
            "1",
            "--film",
            "2",
        ],
        "once for every pigment",
    );
    assert_usage(
        &["glaze", "paint.json", "--over", "50,0,0", "--film", "thick"],
        "thick",
    );
    for sd in ["-1", "51", "NaN"] {
        let over_sd = format!("--over-sd={sd}");
        assert_usage(
            &["glaze", "paint.json", "--over", "50,0,0", &over_sd],
            "--over-sd takes a number from 0 to 50",
        );
    }
}

/// What the server answers to a request, headers and body apart.
fn ask(server: &Server, request: &str) -> (String, Vec<u8>) {
    let address = server.origin.strip_prefix("http://").expect("an address");
    let mut stream = TcpStream::connect(address).expect("the server listens");
    let request = request.replace("ADDRESS", address);
    stream.write_all(request.as_bytes()).expect("it reads");
    let mut answer = Vec::new();
    stream
        .read_to_end(&mut answer)
        .expect("it answers and closes");
    let end = answer
        .windows(4)
        .position(|w| w == b"\r\n\r\n")
        .expect("headers end");
    let body = answer.split_off(end + 4);
    (String::from_utf8(answer).expect("headers are ASCII"), body)
}

fn get(server: &Server, path: &str) -> (String, Vec<u8>) {
    ask(
        server,
        &format!("GET {path} HTTP/1.1\r\nHost: ADDRESS\r\nConnection: close\r\n\r\n"),
    )
}

#[track_caller]
fn assert_status(answer: &(String, Vec<u8>), status: u16) {
    let got = answer.0.split(' ').nth(1);
    assert_eq!(got, Some(status.to_string().as_str()), "{}", answer.0);
}

#[test]
fn the_server_serves_the_page_to_this_machine_only() {
    let server = Server::start();

    // Types by the WHATWG MIME Sniffing and HTML standards; a module script and streamed WebAssembly insist on them.
    for (path, kind) in [
        ("/", "text/html"),
        ("/index.html?again", "text/html"),
        ("/pkg/twoground.js", "text/javascript"),
        ("/pkg/twoground_bg.wasm", "application/wasm"),
        ("/manifest.webmanifest", "application/manifest+json"),
    ] {
        let (headers, body) = get(&server, path);
        assert!(headers.starts_with("HTTP/1.1 200 "), "{path}: {headers}");
        for header in [
            &format!("content-type: {kind}"),
            &format!("content-length: {}", body.len()),
            "cache-control: no-store",
            "x-content-type-options: nosniff",
            "content-security-policy: default-src 'self'; script-src 'self' 'wasm-unsafe-eval'; style-src 'self'; \
             img-src 'self' data: blob:; worker-src 'self'; connect-src 'self'; object-src 'none'; base-uri 'none'; \
             form-action 'none'; frame-ancestors 'none'",
        ] {
            assert!(
                headers.contains(&format!("\r\n{header}\r\n")),
                "{path}: no {header} in {headers}"
            );
        }
        assert!(!body.is_empty(), "{path}");
    }

    // Over the wire: budgets of ours, for a first visit by telephone.
    let (mut code, mut all) = (0, 0);
    let list = String::from_utf8(get(&server, "/offline-files.js").1).expect("text");
    let list = list
        .trim()
        .trim_start_matches("self.SITE = ")
        .trim_end_matches(';');
    let list: Value = serde_json::from_str(list).expect("the list is JSON");
    for file in list["files"].as_array().expect("files") {
        let file = file.as_str().expect("a name").trim_start_matches("./");
        let line = format!("GET /{file} HTTP/1.1\r\nHost: ADDRESS\r\nConnection: close\r\n");
        let (headers, body) = ask(&server, &format!("{line}Accept-Encoding: br\r\n\r\n"));
        assert!(headers.starts_with("HTTP/1.1 200 "), "{file}: {headers}");
        if file.ends_with(".wasm") {
            assert!(
                headers.contains("\r\ncontent-encoding: br\r\n"),
                "{headers}"
            );
            assert!(body.len() < 900_000, "{file}: {} bytes", body.len());
        }
        all += body.len();
        code += if file.starts_with("sample-scans/") {
            0
        } else {
            body.len()
        };
    }
    assert!(
        code < 1_100_000 && all < 12_000_000,
        "{code} and {all} bytes"
    );

    // Nothing outside the folders, by whatever way it is asked for.
    for path in [
        "/Cargo.toml",
        "/../Cargo.toml",
        "/..%2fCargo.toml",
        "/%2e%2e/Cargo.toml",
        "/pkg/../../Cargo.toml",
        "//etc/passwd",
        "/sample-scans//etc/passwd",
        "/sample-scans/../Cargo.toml",
        "/..\\Cargo.toml",
        "/.git/config",
        "/pkg/",
        "/nothing.html",
        "/index.html/",
    ] {
        assert_status(&get(&server, path), 404);
    }

    // Only fetching, only by this machine's own name (a foreign name that points here is how other sites would read it).
    let request = |line: &str, host: &str| {
        ask(
            &server,
            &format!("{line} HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n"),
        )
    };
    let (headers, body) = request("HEAD /", "ADDRESS");
    assert!(
        headers.starts_with("HTTP/1.1 200 ") && body.is_empty(),
        "{headers}"
    );
    for method in ["POST", "PUT", "DELETE", "OPTIONS", "NONSENSE"] {
        assert_status(&request(&format!("{method} /"), "ADDRESS"), 405);
    }
    assert_status(&request("GET /", "paint.example"), 421);
    assert_status(&request("GET /", "127.0.0.1.paint.example"), 421);
    assert_status(&ask(&server, "GET / HTTP/1.0\r\n\r\n"), 421);
    let moved = request("GET /index.html?a", "localhost:4860");
    assert_status(&moved, 308);
    assert!(
        moved
            .0
            .contains("\r\nlocation: http://127.0.0.1:4860/index.html?a\r\n"),
        "{}",
        moved.0
    );
}

#[test]
fn a_taken_port_is_told_with_what_to_do() {
    let taken = std::net::TcpListener::bind("127.0.0.1:0").expect("a free port");
    let port = taken.local_addr().expect("its address").port().to_string();
    let output = twoground(&["--port", &port, "--no-open"]);
    assert_eq!(output.status.code(), Some(1));
    assert_eq!(text(&output.stdout), "");
    let said = text(&output.stderr);
    assert!(
        said.contains(&port) && said.contains("--port") && said.lines().count() == 1,
        "{said}"
    );
}

#[test]
fn outside_its_source_the_program_says_where_to_run_it() {
    let nowhere = tempdir("nowhere");
    let copy = nowhere.join("twoground");
    fs::copy(env!("CARGO_BIN_EXE_twoground"), &copy).expect("a copy");
    let start = || {
        Command::new(&copy)
            .args(["serve", "--no-open", "--port", "0"])
            .current_dir(&nowhere)
            .output()
    };
    // Linux: busy while a program that another test is just starting still holds the copy's handle.
    let mut output = start();
    while output
        .as_ref()
        .is_err_and(|error| error.kind() == ErrorKind::ExecutableFileBusy)
    {
        std::thread::sleep(std::time::Duration::from_millis(20));
        output = start();
    }
    let output = output.expect("the copy starts");
    fs::remove_dir_all(&nowhere).expect("the copy goes");
    assert_eq!(output.status.code(), Some(1));
    assert!(
        text(&output.stderr).contains("cargo run --release"),
        "{}",
        text(&output.stderr)
    );
}

/// A new folder far from the source.
fn tempdir(name: &str) -> PathBuf {
    let path = std::env::temp_dir().join(format!("twoground-{name}-{}", std::process::id()));
    fs::create_dir_all(&path).expect("a temporary folder");
    path
}

fn path(path: &Path) -> &str {
    path.to_str().expect("a path in UTF-8")
}

/// A record without what only its reading knows.
fn unlabelled(text: &str) -> Value {
    let mut record: Value = serde_json::from_str(text).expect("a record is JSON");
    record["paint"] = json!(null);
    record["provenance"]["when"] = json!(null);
    record
}

#[test]
fn read_writes_a_pigment_file_for_every_card() {
    let schema = include_str!("data/pigment.schema.json");
    let schema = serde_json::from_str(schema).expect("the schema is JSON");
    let validator = jsonschema::validator_for(&schema).expect("the schema is a JSON Schema");
    for (i, sample) in samples::samples().iter().enumerate() {
        let out = tempdir(&format!("read-{i}"));
        let output = twoground(&[
            "read",
            path(&sample.scan),
            "--scanner",
            &sample.scanner,
            "--out",
            path(&out),
        ]);
        assert_eq!(output.status.code(), Some(0), "{}", text(&output.stderr));
        let stem = path(Path::new(sample.scan.file_stem().expect("a name")));
        let file = |card: usize| out.join(format!("{stem}-{}.json", card + 1));
        let written: Vec<&str> = text(&output.stdout).lines().collect();
        let expected: Vec<PathBuf> = (0..written.len()).map(file).collect();
        assert!(written.iter().map(Path::new).eq(&expected), "{written:?}");
        let noticed = |file: &PathBuf| {
            let text = fs::read_to_string(file).expect("a pigment file");
            let record = Record::read(&text).expect("it is read again");
            record.findings.len()
        };
        let findings: usize = expected.iter().map(noticed).sum();
        let said = text(&output.stderr);
        assert_eq!(said.lines().count(), findings, "{said}");
        let file = file(sample.card);
        let written = fs::read_to_string(&file).expect("the pigment file");
        let value = serde_json::from_str(&written).expect("it is JSON");
        assert!(
            validator.is_valid(&value),
            "{:?}",
            validator.iter_errors(&value).next()
        );
        let record = Record::read(&written).expect("it is read again");
        assert_eq!(record.write(), written);
        // RFC 3339, the profile of ISO 8601 that everybody reads.
        humantime::parse_rfc3339(&record.provenance.when).expect("a time");
        // What the page offers as a first try is what the program reads.
        let offered = fs::read_to_string(&sample.pigment).expect("the sample's pigment file");
        assert_eq!(
            unlabelled(&offered),
            unlabelled(&written),
            "read the samples again: {}",
            sample.scan.display()
        );
        fs::remove_dir_all(out).expect("the folder goes");
    }
}

#[test]
fn read_never_writes_over_a_file() {
    let out = tempdir("again");
    let scan = &samples::samples()[0].scan;
    let file = out.join(format!(
        "{}-1.json",
        path(Path::new(scan.file_stem().expect("a name")))
    ));
    fs::write(&file, "mine").expect("a file");
    let output = twoground(&["read", path(scan), "--out", path(&out)]);
    assert_eq!(output.status.code(), Some(1));
    assert_eq!(text(&output.stdout), "");
    assert!(
        text(&output.stderr).contains("--out"),
        "{}",
        text(&output.stderr)
    );
    assert_eq!(fs::read_to_string(&file).expect("the file"), "mine");
    fs::remove_dir_all(out).expect("the folder goes");
}

#[test]
fn a_scan_that_cannot_be_read_is_told_and_the_others_are_written() {
    let out = tempdir("bad");
    let mut arguments = vec!["read".to_owned(), "--out".to_owned(), path(&out).to_owned()];
    let bad = bad_scans::all();
    for (name, bytes, _) in &bad {
        let file = out.join(name);
        fs::write(&file, bytes).expect("a file");
        arguments.push(path(&file).to_owned());
    }
    arguments.push(path(&out.join("missing.png")).to_owned());
    arguments.push(path(&samples::samples()[0].scan).to_owned());
    let output = twoground(&arguments.iter().map(String::as_str).collect::<Vec<_>>());
    assert_eq!(output.status.code(), Some(1));
    assert_eq!(
        text(&output.stdout).lines().count(),
        1,
        "{}",
        text(&output.stdout)
    );
    let said = text(&output.stderr);
    for (name, words) in bad
        .iter()
        .map(|(name, _, words)| (*name, *words))
        .chain([("missing.png", "could not be opened")])
    {
        let lines: Vec<_> = said.lines().filter(|line| line.contains(name)).collect();
        assert_eq!(lines.len(), 1, "{name}: {said}");
        assert!(lines[0].contains(words), "{}", lines[0]);
    }
    fs::remove_dir_all(out).expect("the folder goes");
}

#[test]
fn glaze_prints_what_the_library_predicts() {
    let pigments: Vec<_> = samples::samples()
        .into_iter()
        .take(3)
        .map(|sample| sample.pigment)
        .collect();
    let records: Vec<_> = pigments
        .iter()
        .map(|file| Record::read(&fs::read_to_string(file).expect("a file")).expect("a record"))
        .collect();
    for (films, over) in [
        (vec![1.0], [59.0, 0.0, 0.0]),
        (vec![2.0, 0.5], [81.0, -3.5, 12.0]),
        (vec![0.25, 1.0, 4.0], [20.0, 5.0, -9.0]),
    ] {
        let used: Vec<&Record> = records.iter().take(films.len()).collect();
        let expected = picture::answer(&used, &films, Lab::new(over[0], over[1], over[2]))
            .expect("a prediction");
        let over = over.map(|v| v.to_string()).join(",");
        let mut arguments = vec!["glaze", "--over", &over];
        arguments.extend(pigments.iter().take(films.len()).map(|file| path(file)));
        let films: Vec<_> = films.iter().map(f64::to_string).collect();
        // All at the reference film need not be said.
        if films.len() > 1 {
            arguments.extend(films.iter().flat_map(|film| ["--film", film]));
        }
        let plain = twoground(&arguments);
        arguments.push("--json");
        let output = twoground(&arguments);
        assert!(
            plain.status.success() && output.status.success(),
            "{}",
            text(&output.stderr)
        );
        let answer: Value = serde_json::from_str(text(&output.stdout)).expect("JSON");
        let lab = expected.predicted.lab;
        for (got, exact) in [
            (&answer["lab"][0], lab.l),
            (&answer["lab"][1], lab.a),
            (&answer["lab"][2], lab.b),
            (&answer["de00_90"], expected.predicted.range),
        ] {
            let got = got.as_f64().expect("a number");
            assert!((got - exact).abs() <= 0.005 + 1e-9, "{got} {exact}");
            assert!(
                text(&plain.stdout).contains(&format!("{exact:.1}").replace("-0.0", "0.0")),
                "{exact} {}",
                text(&plain.stdout)
            );
        }
        assert_eq!(answer["verdict"], expected.verdict.word());
        assert_eq!(answer["notes"], json!(expected.notes));
        assert_eq!(answer.as_object().map(serde_json::Map::len), Some(4));
    }
}

/// A colour that was judged by eye has the range that the page gives it.
#[test]
fn glaze_takes_how_far_the_colour_below_may_be_off() {
    let pigment = samples::samples().remove(0).pigment;
    let file = fs::read_to_string(&pigment).expect("a file");
    let mut page = twoground::page::OpenPicture::new("Harbour");
    page.use_tubes(vec![("tube".to_owned(), file)])
        .expect("a tube");
    let colour = |lab_sd| Change::AddColour {
        name: String::new(),
        lab: [59.0, 4.0, 8.0],
        lab_sd,
        surface: Surface::Glossy,
    };
    let film = Change::Lay {
        tube: "tube".to_owned(),
        build: Some(1.0),
    };
    for change in [
        Change::ClearColours {},
        colour([0.0; 3]),
        colour([4.0; 3]),
        film,
    ] {
        page.change(&change).expect("a change");
    }
    let seen = page.view().expect("a view").seen;
    assert!(seen[1].range > seen[0].range + 0.5, "{seen:?}");
    for (seen, sd) in seen.iter().zip(["0", "4"]) {
        let arguments = ["glaze", path(&pigment), "--over", "59,4,8", "--over-sd", sd];
        let output = twoground(&[&arguments[..], &["--json"]].concat());
        let answer: Value = serde_json::from_str(text(&output.stdout)).expect("JSON");
        let range = answer["de00_90"].as_f64().expect("a number");
        assert!(
            (range - seen.range).abs() <= 0.005 + 1e-9,
            "{range} {}",
            seen.range
        );
    }
}

/// Several readings of one tube are one film: the mean of those that agree, as *Picture* predicts it.
#[test]
fn glaze_takes_several_readings_of_a_tube_as_one() {
    let folder = tempdir("readings");
    let (rose, blue) = (
        &samples::samples()[0].pigment,
        &samples::samples()[1].pigment,
    );
    let write = |name: &str, from: &Path, scale: f64| {
        let text = fs::read_to_string(from).expect("a file");
        let mut record = Record::read(&text).expect("a record");
        record.provenance.file_name = format!("{name}.tif");
        // The same paint on a card whose middle film is so many times as thick.
        record.absorption.iter_mut().for_each(|k| *k *= scale);
        record.scattering.iter_mut().for_each(|s| *s *= scale);
        // No two scans give the same numbers.
        record.cells[0].xyz[1] *= 1.0 + 0.001 * scale;
        let file = folder.join(format!("{name}.json"));
        fs::write(&file, record.write()).expect("a file");
        file
    };
    let one = write("one", rose, 1.0);
    let two = write("two", rose, 2.0);
    let wrong = write("wrong", blue, 1.0);
    let ask = |files: &[&Path], film: &str| -> Value {
        let names: Vec<&str> = files.iter().map(|file| path(file)).collect();
        let output = twoground(&[
            "glaze",
            &names.join("+"),
            "--over",
            "70,2,8",
            "--film",
            film,
            "--json",
        ]);
        assert!(output.status.success(), "{}", text(&output.stderr));
        serde_json::from_str(text(&output.stdout)).expect("JSON")
    };
    let range = |answer: &Value| answer["de00_90"].as_f64().expect("a number");
    let note = |answer: &Value| answer["notes"][0].as_str().unwrap_or_default().to_owned();
    let alone = ask(&[&one], "0.8");
    // Far from the films of the card, that is said, either way.
    assert_eq!(note(&alone), "");
    assert!(note(&ask(&[&one], "0.1")).contains("thinner than any film on its card"));
    assert!(note(&ask(&[&one], "5")).contains("thicker than any film on its card"));
    let both = ask(&[&one, &two], "0.8");
    // The same colour, more surely, and said.
    for axis in 0..3 {
        let [one, both] =
            [&alone, &both].map(|answer| answer["lab"][axis].as_f64().expect("a number"));
        assert!((one - both).abs() < 0.02, "{one} {both}");
    }
    assert!(range(&both) < range(&alone));
    assert!(note(&both).contains("the mean of its 2 readings"), "{both}");
    // One scan given twice tells no more than once.
    let twice = ask(&[&one, &one], "0.8");
    assert_eq!(
        (&twice["lab"], range(&twice)),
        (&alone["lab"], range(&alone))
    );
    assert!(note(&twice).contains("count once"), "{twice}");
    // In films of the first one's card.
    assert_eq!(ask(&[&two, &one], "0.4")["lab"], both["lab"]);
    // The odd one out of three is left out and named, wherever it stands.
    for files in [
        [&one, &two, &wrong],
        [&one, &wrong, &two],
        [&wrong, &one, &two],
    ] {
        let three = ask(&files.map(PathBuf::as_path), "0.8");
        assert_eq!(three["lab"], both["lab"]);
        assert!(
            note(&three).contains("wrong.tif is the odd one out"),
            "{three}"
        );
        assert_eq!(
            note(&three).contains("the card in one.tif"),
            files[0] == &wrong
        );
    }
    // Of two that are not of one tube nobody knows which is wrong: that is said.
    assert!(note(&ask(&[&one, &wrong], "0.8")).contains("see that all are of this tube"));
    // A file that has the sign in its name is itself.
    let plus = folder.join("rose+blue.json");
    fs::copy(&one, &plus).expect("a file");
    assert_eq!(ask(&[&plus], "0.8"), alone);
    // One of them missing is named.
    let gone = format!("{}+{}", path(&one), path(&folder.join("missing.json")));
    let output = twoground(&["glaze", &gone, "--over", "70,2,8"]);
    assert_eq!(output.status.code(), Some(1));
    assert!(text(&output.stderr).contains("missing.json"));
    assert!(!text(&output.stderr).contains("one.json"));
    fs::remove_dir_all(folder).expect("the folder goes");
}

#[test]
fn glaze_says_what_is_wrong_with_a_pigment_file() {
    let folder = tempdir("pigment");
    let file = folder.join("paint.json");
    let good = fs::read_to_string(&samples::samples()[0].pigment).expect("a file");
    let mut picture_only: Value = serde_json::from_str(&good).expect("JSON");
    for (field, value) in [
        ("state", json!("not_modelled")),
        ("absorption", json!([])),
        ("scattering", json!([])),
    ] {
        picture_only[field] = value;
    }
    for (contents, film, words) in [
        ("".to_owned(), "1", "not whole JSON"),
        (
            good.replacen("\"version\": 1", "\"version\": 9", 1),
            "1",
            "version",
        ),
        (picture_only.to_string(), "1", "no constants"),
        (good.clone(), "-1", "build -1"),
        (good, "1e9", "build 1000000000"),
    ] {
        fs::write(&file, contents).expect("a file");
        let output = twoground(&["glaze", path(&file), "--over", "50,0,0", "--film", film]);
        assert_eq!(output.status.code(), Some(1), "{words}");
        assert_eq!(text(&output.stdout), "");
        assert!(
            text(&output.stderr).contains(words) && text(&output.stderr).lines().count() == 1,
            "{}",
            text(&output.stderr)
        );
    }
    let output = twoground(&["glaze", path(&folder.join("none.json")), "--over", "50,0,0"]);
    assert_eq!(output.status.code(), Some(1));
    assert!(
        text(&output.stderr).contains("could not be opened"),
        "{}",
        text(&output.stderr)
    );
    fs::remove_dir_all(folder).expect("the folder goes");
}
