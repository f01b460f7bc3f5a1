//! Packages read back: the same bytes again, and examined, ours and others'.
use std::{
    collections::BTreeMap,
    io::{Cursor, Read},
    num::{NonZeroU32, NonZeroUsize},
    sync::LazyLock,
};

use exporters::{
    archive::{ArchiveError, ArchiveWriter, MemberName, reading::ArchiveReader, scratch::Scratch},
    cartridge::{CartridgeOptions, write_cartridge},
    examine::{Examination, Report, Topic, Verdict},
    packages::{Package, PackageKind, redraw::read_pool},
    qti::{CaseItem, Ordering, PackageOptions, QtiVersion, Solution, TimeLimit, write_package},
};
use qbank::{
    bank,
    family::Family,
    pool::{Pool, Section},
    question::{Item, Question},
};

fn families() -> &'static [Family] {
    static FAMILIES: LazyLock<Vec<Family>> = LazyLock::new(|| bank::families().unwrap());
    &FAMILIES
}

/// One question of every so many families, named as a plan names them.
fn pool(every: usize) -> Pool {
    let items = families().iter().step_by(every).enumerate().map(|(number, family)| {
        let item = family.draws("the river day", 3, "en-US").next().unwrap().unwrap();
        let id = format!("Q-{number}");
        Question { id: id.into(), ..item.question().clone() }.sealed().verify().unwrap()
    });
    let mut items: Vec<Item> = items.collect();
    let rest = items.split_off(items.len() / 2);
    let section =
        |id: &str, title: &str, items| Section { id: id.into(), title: title.into(), pick: 2, items };
    let sections = vec![section("FIRST", "First & foremost", items), section("SECOND", "More", rest)];
    Pool::new("river-day".into(), "River day".into(), "en-US".into(), sections).unwrap()
}

fn written(pool: &Pool, options: &PackageOptions) -> Vec<u8> {
    let mut out = Cursor::new(Vec::new());
    write_package(pool, options, &mut out).unwrap();
    out.into_inner()
}

/// Three batches of questions, the first and the last with names that only capital letters tell apart.
fn long_pool() -> Pool {
    let section = |name: &str, from: usize| {
        let family = bank::family(name).unwrap();
        let items = family.draws("long", 0, "en-US").take(150).enumerate().map(|(index, item)| {
            let id = match from + index {
                0 => "Name".to_owned(),
                299 => "nAME".to_owned(),
                number => format!("Q-{number}"),
            };
            Question { id: id.into(), ..item.unwrap().question().clone() }.sealed().verify().unwrap()
        });
        Section { id: name.into(), title: name.into(), pick: 3, items: items.collect() }
    };
    let sections = vec![section("add-ragged", 0), section("compare-thousandths", 150)];
    Pool::new("long".into(), "Long".into(), "en-US".into(), sections).unwrap()
}

#[test]
fn packages_and_reports_are_the_same_on_any_number_of_threads_and_with_scratch_files() {
    let pool = long_pool();
    let on = |threads, scratch| {
        let threads = NonZeroUsize::new(threads).unwrap();
        let bytes = written(&pool, &PackageOptions { threads, scratch, ..PackageOptions::default() });
        let report = Examination::open(Cursor::new(&bytes)).unwrap().run_on(threads, families(), |_| ());
        (bytes, report)
    };
    let (bytes, report) = on(1, Scratch::MEMORY);
    assert!(report.holds && report.counts.hold == 300, "{report}");
    for path in ["items/item-name.xml", "items/item-name_2.xml"] {
        assert!(report.items.iter().any(|judged| judged.member == path), "{path}");
    }
    let files = Scratch::new(|| Ok(Box::new(tempfile::tempfile()?)));
    for (threads, scratch) in [(2, Scratch::MEMORY), (5, files)] {
        assert!(on(threads, scratch) == (bytes.clone(), report.clone()), "{threads} threads, {scratch:?}");
    }
    let mut package = Package::open(Cursor::new(bytes)).unwrap();
    assert_eq!(read_pool(&mut package, families()).unwrap().0, pool);
}

fn examined(bytes: Vec<u8>) -> Report {
    let mut told = 0;
    let examination = Examination::open(Cursor::new(bytes)).unwrap();
    let items = examination.items();
    let report = examination.run(families(), |_| told += 1);
    assert!(told == items, "each item is told");
    report
}

/// The package with one of its members changed; members that become empty are left out.
fn changed(bytes: &[u8], member: &str, change: impl Fn(&str) -> String) -> Vec<u8> {
    let mut archive = ArchiveReader::new(Cursor::new(bytes)).unwrap();
    let mut out = Cursor::new(Vec::new());
    let mut writer = ArchiveWriter::new(&mut out, "2026-03-02T09:15:00Z".parse().unwrap()).unwrap();
    for (index, name) in archive.names() {
        let mut text = String::new();
        archive.member(index).unwrap().read_to_string(&mut text).unwrap();
        if name == member {
            let new = change(&text);
            assert_ne!(new, text, "the change of {member} changes something");
            text = new;
        }
        if !text.is_empty() {
            let name = MemberName::new(&name).unwrap();
            let written = writer
                .member(&name, |out| Ok::<_, ArchiveError>(std::io::Write::write_all(out, text.as_bytes())?));
            written.unwrap();
        }
    }
    writer.finish().unwrap();
    out.into_inner()
}

#[test]
fn packages_of_every_version_written_read_and_written_are_the_same_bytes() {
    let pool = pool(4);
    let code = pool.items().next().unwrap().standards[0].clone();
    let case_item = CaseItem { identifier: "0123".into(), uri: Some("https://example.org/0123".into()) };
    for version in QtiVersion::ALL {
        let plain = PackageOptions { version, ..PackageOptions::default() };
        let all = PackageOptions {
            solution: Solution::ForScorers,
            attempts: 3,
            time_limit: Some(TimeLimit { seconds: NonZeroU32::new(900).unwrap(), late_submission: true }),
            ordering: Ordering::AsInPool,
            timestamp: "2026-03-02T09:15:00Z".parse().unwrap(),
            case_items: BTreeMap::from([(code.to_string(), case_item.clone())]),
            ..plain.clone()
        };
        for options in [plain, all] {
            let bytes = written(&pool, &options);
            let mut package = Package::open(Cursor::new(&bytes)).unwrap();
            assert_eq!(package.manifest.kind, PackageKind::Qti(version));
            assert_eq!(package.faults, []);
            let (read, told) = read_pool(&mut package, families()).unwrap();
            assert_eq!(read, pool);
            assert!(written(&read, &told) == bytes, "QTI {}", version.name());
        }
    }
}

#[test]
fn our_packages_of_every_version_hold() {
    for (every, version) in [(1, QtiVersion::V30), (5, QtiVersion::V22), (5, QtiVersion::V21)] {
        let pool = pool(every);
        let report = examined(written(&pool, &PackageOptions { version, ..PackageOptions::default() }));
        assert!(report.holds, "{report}");
        assert_eq!(
            (report.counts.items, report.counts.hold),
            (pool.items().count(), report.counts.items),
            "{report}"
        );
        let tried =
            |topic| report.items.iter().all(|item| item.checks.iter().any(|check| check.topic == topic));
        for topic in
            [Topic::CorrectResponse, Topic::WrongResponses, Topic::Keys, Topic::Words, Topic::Predictions]
        {
            assert!(tried(topic), "{topic:?} was not tried everywhere");
        }
    }
}

#[test]
fn every_question_of_a_cartridge_of_ours_is_played_and_holds() {
    let bytes = cartridge(&pool(4));
    let report = examined(bytes);
    assert!(report.holds, "{report}");
    assert_eq!(report.package, "Common Cartridge 1.3");
    assert!(report.counts.items >= 50 && report.counts.hold == report.counts.items, "{report}");
}

fn cartridge(pool: &Pool) -> Vec<u8> {
    let mut out = Cursor::new(Vec::new());
    write_cartridge(pool, &CartridgeOptions::default(), &mut out).unwrap();
    out.into_inner()
}

#[test]
fn what_does_not_hold_in_questions_of_a_cartridge_is_told() {
    let mut pool = pool(1);
    pool.sections.truncate(1);
    pool.sections[0].items.retain(|item| item.family == "add-ragged" || item.family == "compare-ragged");
    assert_eq!(pool.sections[0].items.len(), 2);
    let bytes = cartridge(&pool);
    let mut archive = ArchiveReader::new(Cursor::new(&bytes)).unwrap();
    let names = archive.names();
    let (index, bank) = names.iter().find(|(_, name)| name.contains("bank")).unwrap();
    let mut text = String::new();
    archive.member(*index).unwrap().read_to_string(&mut text).unwrap();
    let full = "<setvar varname=\"SCORE\" action=\"Set\">100</setvar>";
    assert!(text.contains(full), "{text}");
    let choice = "<varequal respident=\"response\" case=\"Yes\">A</varequal>";
    // What is changed in the bank, and what is told then.
    for (from, to, told) in [
        (full, full.replace("100", "50").as_str(), "no listed response earns all points"),
        (full, full.replace("100", "50").as_str(), "0 of 3 ways to choose earn all points"),
        ("linkrefid=\"", "linkrefid=\"x", "x"),
        (choice, &choice.replace('A', "Z"), "there is no choice 'Z'"),
    ] {
        assert!(text.contains(from), "{from} is not in {text}");
        let report = examined(changed(&bytes, bank, |text| text.replace(from, to)));
        assert!(!report.holds && report.to_string().contains(told), "{told}: {report}");
    }
}

/// The published checker says the same of such packages: an address must lead to a file of the package.
#[test]
fn a_file_that_an_item_names_must_be_in_the_package() {
    let mut pool = pool(1);
    pool.sections.truncate(1);
    pool.sections[0].items.truncate(1);
    let bytes = written(&pool, &PackageOptions::default());
    let archive = ArchiveReader::new(Cursor::new(&bytes)).unwrap();
    let names = archive.names();
    let (_, file) = names.iter().find(|(_, name)| name.starts_with("items/")).unwrap();
    let told = |named: &str| {
        let with = format!("<qti-item-body>{named}");
        examined(changed(&bytes, file, |text| text.replacen("<qti-item-body>", &with, 1))).to_string()
    };
    for (named, missing) in [
        (r#"<p><img src="no.png" alt=""/></p>"#, "no.png"),
        (r#"<p><img src="../../imsmanifest.xml" alt=""/></p>"#, "../../imsmanifest.xml"),
        (r#"<p><object data="sounds/a%20b.ogg" type="audio/ogg"/></p>"#, "sounds/a%20b.ogg"),
        (r#"<p><audio><source src="/a.ogg" type="audio/ogg"/></audio></p>"#, "/a.ogg"),
    ] {
        let report = told(named);
        assert!(report.contains(&format!("there is no file '{missing}'")), "{named}: {report}");
    }
    for named in [
        r#"<p><img src="../imsmanifest.xml?x#y" alt=""/></p>"#,
        r#"<p><img src="https://example.org/a.png" alt=""/></p>"#,
        r#"<p><img src="//example.org/a.png" alt=""/></p>"#,
        r#"<p><img src="data:image/png;base64,AAAA" alt=""/></p>"#,
        r#"<p><a href="elsewhere.html">more</a></p>"#,
    ] {
        let report = told(named);
        assert!(!report.contains("there is no file"), "{named}: {report}");
    }
}

#[test]
fn whatever_is_changed_in_a_package_of_ours_no_longer_holds() {
    let family = bank::family("add-ragged").unwrap();
    let item = family.draw("the river day", 3, "en-US").unwrap();
    let item = Question { id: "Q".into(), ..item.question().clone() }.sealed().verify().unwrap();
    let (answer, version) = (item.right_responses()["total"].clone(), item.version);
    let section = Section { id: "S".into(), title: "S".into(), pick: 1, items: vec![item] };
    let pool = Pool::new("p".into(), "P".into(), "en-US".into(), vec![section]).unwrap();
    let bytes = written(&pool, &PackageOptions::default());
    let file = "items/item-q.xml";
    let value = |text: &str| format!("<qti-value>{text}</qti-value>");
    let replace = |text: &str, from: &str, to: &str| text.replacen(from, to, 1);
    let cases: [(&str, &str, &str, Topic); 6] = [
        (&value(&answer), &value("999"), "gets 0 of", Topic::CorrectResponse),
        ("</p>", " (hint)</p>", "the words of the body", Topic::Words),
        ("<qti-content-body>\n      <p>", "<qti-content-body>\n      <p>No: ", "the feedback", Topic::Words),
        (
            "FEEDBACK_total\" cardinality",
            "FEEDBACK_totals\" cardinality",
            "'FEEDBACK_total'",
            Topic::References,
        ),
        (
            "response-identifier=\"RESPONSE_total\"",
            "response-identifier=\"R\"",
            "no response variable 'R'",
            Topic::References,
        ),
        ("<qti-item-body>", "<qti-item-body", "not well-formed", Topic::Readable),
    ];
    for (from, to, said, topic) in cases {
        let report = examined(changed(&bytes, file, |text| replace(text, from, to)));
        assert!(!report.holds, "{from}: {report}");
        let fails = report.items[0].checks.iter().filter(|check| check.verdict == Verdict::DoesNotHold);
        let told: Vec<_> = fails.collect();
        assert!(
            told.iter().any(|check| check.topic == topic && check.told.contains(said)),
            "{from}: {told:?}"
        );
    }
    let receipt = changed(&bytes, "imsmanifest.xml", |text| replace(text, "sha256:", "sha256:0"));
    assert!(examined(receipt).to_string().contains("drawn again, its receipt is sha256:"));
    let claim = format!("add-ragged {version} ");
    let other =
        changed(&bytes, "imsmanifest.xml", |text| replace(text, &format!("{claim}3"), &format!("{claim}4")));
    assert!(examined(other).to_string().contains("drawn again, its receipt is sha256:"));
    let later = changed(&bytes, "imsmanifest.xml", |text| replace(text, &claim, "add-ragged 99 "));
    let report = examined(later);
    assert_eq!(report.items[0].verdict, Verdict::CannotJudge, "{report}");
}

#[test]
fn what_a_manifest_and_a_test_get_wrong_is_told_with_file_and_line() {
    let bytes = written(&pool(20), &PackageOptions::default());
    let manifest = "imsmanifest.xml";
    for (member, from, to, said) in [
        ("items/item-q-1.xml", "", "", "there is no file 'items/item-q-1.xml' in the package"),
        (
            manifest,
            "file href=\"items/item-q-1.xml\"",
            "file href=\"items/other.xml\"",
            "no file 'items/other.xml'",
        ),
        (
            manifest,
            "file href=\"items/item-q-1.xml\"",
            "file href=\"../x.xml\"",
            "'../x.xml' is no path inside",
        ),
        (manifest, "<file href=\"items/item-q-1.xml\"/>", "", "does not list its own file"),
        (manifest, "<dependency identifierref=\"Q-1\"/>", "", "the test draws 'Q-1', which its resource"),
        (
            manifest,
            "<dependency identifierref=\"Q-1\"/>",
            "<dependency identifierref=\"X\"/>",
            "no resource 'X'",
        ),
        (
            manifest,
            "<resource identifier=\"Q-1\"",
            "<resource identifier=\"Q-0\"",
            "the resource 'Q-0' is there twice",
        ),
        ("test.xml", "href=\"items/item-q-1.xml\"", "href=\"items/gone.xml\"", "'items/gone.xml' is no item"),
        ("test.xml", "select=\"2\"", "select=\"200\"", "draws 200 of"),
        ("test.xml", "identifier=\"Q-1\"", "identifier=\"Q-0\"", "the name 'Q-0' is there twice"),
        (
            "items/item-q-1.xml",
            "identifier=\"Q-1\"",
            "identifier=\"Q-0\"",
            "another item has the identifier 'Q-0'",
        ),
    ] {
        let package =
            changed(
                &bytes,
                member,
                |text| {
                    if from.is_empty() { String::new() } else { text.replacen(from, to, 1) }
                },
            );
        let report = examined(package);
        let told: Vec<String> = report.findings.iter().map(ToString::to_string).collect();
        assert!(told.iter().any(|finding| finding.contains(said)), "{member} {from}: {told:?}");
        assert!(!report.holds);
    }
}

/// A package of one item that nobody of ours has written.
fn foreign(item: &str) -> Report {
    let mut out = Cursor::new(Vec::new());
    let mut writer = ArchiveWriter::new(&mut out, "2026-03-02T09:15:00Z".parse().unwrap()).unwrap();
    let manifest = "<manifest xmlns='http://www.imsglobal.org/xsd/qti/qtiv3p0/imscp_v1p1' identifier='m'><metadata>\
        <schema>QTI Package</schema><schemaversion>3.0.0</schemaversion></metadata><organizations/><resources>\
        <resource identifier='i' type='imsqti_item_xmlv3p0' href='i.xml'><file href='i.xml'/></resource></resources>\
        </manifest>";
    for (name, text) in [("imsmanifest.xml", manifest), ("i.xml", item)] {
        let name = MemberName::new(name).unwrap();
        let written = writer
            .member(&name, |out| Ok::<_, ArchiveError>(std::io::Write::write_all(out, text.as_bytes())?));
        written.unwrap();
    }
    writer.finish().unwrap();
    examined(out.into_inner())
}

fn item(parts: &str) -> String {
    format!(
        "<qti-assessment-item xmlns='http://www.imsglobal.org/xsd/imsqtiasi_v3p0' identifier='i' title='t' \
         adaptive='false' time-dependent='false'>{parts}</qti-assessment-item>"
    )
}

const SCORE: &str = "<qti-outcome-declaration identifier='SCORE' cardinality='single' base-type='float'/>";

#[test]
fn what_is_scored_elsewhere_or_by_unknown_operators_cannot_be_judged() {
    let response = "<qti-response-declaration identifier='RESPONSE' cardinality='single' base-type='string'>\
        <qti-correct-response><qti-value>a</qti-value></qti-correct-response></qti-response-declaration>";
    let entry =
        "<qti-item-body><p><qti-text-entry-interaction response-identifier='RESPONSE'/></p></qti-item-body>";
    let slider = "<qti-item-body><qti-slider-interaction response-identifier='RESPONSE'/></qti-item-body>";
    let matched = "<qti-response-processing \
        template='https://purl.imsglobal.org/spec/qti/v3p0/rptemplates/match_correct.xml'/>";
    let custom = "<qti-response-processing><qti-set-outcome-value identifier='SCORE'><qti-custom-operator \
        class='org.example.marks'/></qti-set-outcome-value></qti-response-processing>";
    for (parts, said) in [
        ([SCORE, entry, ""].concat(), "somebody else scores it"),
        ([SCORE, slider, matched].concat(), "the interaction 'slider-interaction'"),
        ([SCORE, entry, custom].concat(), "the custom operator 'org.example.marks'"),
        (
            [SCORE, entry, "<qti-response-processing template='https://example.org/own'/>"].concat(),
            "'https://example.org/own'",
        ),
    ] {
        let report = foreign(&item(&format!("{response}{parts}")));
        assert_eq!(report.items[0].verdict, Verdict::CannotJudge, "{report}");
        assert!(report.to_string().contains(said), "{said}: {report}");
        assert!(report.holds, "{report}");
    }
    let report = foreign(&item(&[response, SCORE, entry, matched].concat()));
    assert_eq!(report.items[0].verdict, Verdict::Holds, "{report}");
}

/// The skeleton of a templated item, with a constraint, a key and a predicted wrong answer.
fn template(constraint: &str, defaults: [&str; 2], wrong: &str) -> String {
    let integer = |name: &str, default: &str| {
        format!(
            "<qti-template-declaration identifier='{name}' cardinality='single' base-type='integer'>\
             <qti-default-value><qti-value>{default}</qti-value></qti-default-value></qti-template-declaration>"
        )
    };
    let float = |name: &str| {
        format!("<qti-template-declaration identifier='{name}' cardinality='single' base-type='float'/>")
    };
    let set = |name: &str, value: &str| {
        format!("<qti-set-template-value identifier='{name}'>{value}</qti-set-template-value>")
    };
    let variable = |name: &str| format!("<qti-variable identifier='{name}'/>");
    let divided = |sum: &str| {
        format!("<qti-divide>{sum}<qti-base-value base-type='integer'>100</qti-base-value></qti-divide>")
    };
    let sum = format!("<qti-sum>{}{}</qti-sum>", variable("A_C"), variable("B_C"));
    let random = "<qti-random-integer min='101' max='989'/>";
    let equal = |name: &str| {
        format!(
            "<qti-equal tolerance-mode='absolute' tolerance='0.001'>{}{}</qti-equal>",
            variable(name),
            variable("RESPONSE")
        )
    };
    item(&[
        "<qti-response-declaration identifier='RESPONSE' cardinality='single' base-type='float'/>",
        "<qti-outcome-declaration identifier='SCORE' cardinality='single' base-type='float' normal-maximum='1'/>",
        "<qti-outcome-declaration identifier='FEEDBACK' cardinality='single' base-type='identifier'/>",
        &integer("A_C", defaults[0]),
        &integer("B_C", defaults[1]),
        &float("ANS"),
        &float("M1"),
        "<qti-template-processing>",
        &set("A_C", random),
        &set("B_C", random),
        &format!("<qti-template-constraint>{constraint}</qti-template-constraint>"),
        &set("ANS", &divided(&sum)),
        &set("M1", &divided(wrong)),
        "<qti-set-correct-response identifier='RESPONSE'><qti-variable identifier='ANS'/></qti-set-correct-response>",
        "</qti-template-processing><qti-item-body><p><qti-printed-variable identifier='ANS' format='%.2f'/>",
        "<qti-text-entry-interaction response-identifier='RESPONSE'/></p></qti-item-body>",
        "<qti-response-processing><qti-response-condition><qti-response-if>",
        &equal("ANS"),
        "<qti-set-outcome-value identifier='SCORE'><qti-base-value base-type='float'>1</qti-base-value>",
        "</qti-set-outcome-value></qti-response-if><qti-response-else-if>",
        &equal("M1"),
        "<qti-set-outcome-value identifier='FEEDBACK'><qti-base-value base-type='identifier'>M_1</qti-base-value>",
        "</qti-set-outcome-value></qti-response-else-if></qti-response-condition></qti-response-processing>",
        "<qti-modal-feedback outcome-identifier='FEEDBACK' identifier='M_1' show-hide='show'><qti-content-body>",
        "Look again.</qti-content-body></qti-modal-feedback>",
    ]
    .concat())
}

#[test]
fn templates_are_played_with_many_numbers_and_with_their_defaults() {
    let variable = |name: &str| format!("<qti-variable identifier='{name}'/>");
    let integer = |number: u32| format!("<qti-base-value base-type='integer'>{number}</qti-base-value>");
    let digit =
        |name: &str| format!("<qti-integer-modulus>{}{}</qti-integer-modulus>", variable(name), integer(10));
    let carries =
        format!("<qti-gte><qti-sum>{}{}</qti-sum>{}</qti-gte>", digit("A_C"), digit("B_C"), integer(11));
    let less = format!("<qti-subtract>{}{}</qti-subtract>", variable("A_C"), variable("B_C"));
    // Half of the draws have an even first number, for which the prediction is the key.
    let sometimes = format!(
        "<qti-sum>{}{}<qti-integer-modulus>{}{}</qti-integer-modulus></qti-sum>",
        variable("A_C"),
        variable("B_C"),
        variable("A_C"),
        integer(2)
    );
    let never = format!("<qti-gt>{}{}</qti-gt>", variable("A_C"), integer(989));
    for (constraint, defaults, wrong, said) in [
        (&carries, ["345", "178"], &less, None),
        (&carries, ["341", "178"], &less, Some("the defaults do not satisfy the constraint")),
        (&never, ["990", "178"], &less, Some("no draw of 100 satisfies the constraints")),
        (
            &carries,
            ["345", "178"],
            &sometimes,
            Some("'M1', which responses are compared with, is the correct"),
        ),
    ] {
        let report = foreign(&template(constraint, defaults, wrong));
        match said {
            None => assert!(report.items[0].verdict == Verdict::Holds && report.holds, "{report}"),
            Some(said) => assert!(!report.holds && report.to_string().contains(said), "{said}: {report}"),
        }
    }
}
