//! Cartridges: judged by the published schemas, scored by the rules of their own standard, and read back.
use std::{
    collections::{BTreeMap, BTreeSet},
    io::Cursor,
};

use exporters::{
    cartridge::{
        CartridgeError, CartridgeOptions, LiveQuiz,
        from_item::map_item,
        model::{CartridgeItem, Choice, Interaction, Material, Profile},
        reading::{CartridgeReadError, read_document},
        report::{CartridgeReport, Loss},
        write_cartridge,
    },
    qti::CaseItem,
};
use qbank::{
    accept::{Credit, Form, Rule},
    marking::{Verdict, mark},
    pool::{Pool, Section},
    question::{Item, Step, StepKind},
};

use crate::{
    samples::{Sample, decimal},
    schemas::{assert_valid, by_hand, member, whole_bank, whole_bank_in},
};

fn written(pool: &Pool, options: &CartridgeOptions) -> (Vec<u8>, CartridgeReport) {
    let mut out = Cursor::new(Vec::new());
    let report = write_cartridge(pool, options, &mut out).unwrap();
    (out.into_inner(), report)
}

fn with_everything() -> CartridgeOptions {
    let case_item = CaseItem { identifier: "3c8d9a52-0d8c-4a37-9a53-5d8d1b1c6f10".into(), uri: None };
    CartridgeOptions {
        timestamp: "2026-03-02T09:15:00Z".parse().unwrap(),
        case_items: [("5.NBT.B.7".to_owned(), case_item)].into(),
        live_quiz: Some(LiveQuiz {
            launch_url: "https://tool.example/lti/launch".into(),
            custom: [("pool".to_owned(), "river-day".to_owned())].into(),
        }),
        ..CartridgeOptions::default()
    }
}

#[test]
fn cartridges_of_the_whole_bank_meet_the_published_schemas() {
    let everything = with_everything();
    let (plain, report) = written(&whole_bank(3), &CartridgeOptions::default());
    let (full, _) = written(&whole_bank(3), &everything);
    let (spanish, _) = written(&whole_bank_in("es-US", 1), &everything);
    let (special, _) = written(&by_hand(), &everything);
    assert!(report.items > 100, "{report:?}");
    assert_valid(&[
        ("plain.imscc", &plain),
        ("full.imscc", &full),
        ("spanish.imscc", &spanish),
        ("by-hand.imscc", &special),
    ]);
    assert_eq!(full, written(&whole_bank(3), &everything).0, "the same bytes every time");
    let manifest = member(&full, "imsmanifest.xml");
    assert!(manifest.contains("<GUID>3c8d9a52-0d8c-4a37-9a53-5d8d1b1c6f10</GUID>"), "{manifest}");
    assert!(!member(&plain, "imsmanifest.xml").contains("GUID"));
    let link = member(&full, "links/live-quiz.xml");
    assert!(link.contains("<blti:secure_launch_url>https://tool.example/lti/launch<"), "{link}");
    assert!(link.contains("<lticm:property name=\"pool\">river-day<"), "{link}");
}

/// Points and feedback of one response.
fn score<'i>(item: &'i CartridgeItem, response: &str) -> (u32, Vec<&'i str>) {
    let played = item.play(&[response]);
    (played.score.map_or(0, |score| score.parse().unwrap()), played.shown)
}

/// What the project's own marking says, earlier answers being right.
fn verdict(item: &Item, step: &Step, response: &str) -> (Verdict, u32) {
    let mut responses = item.right_responses();
    responses.insert(step.id.to_string(), response.into());
    let mark = mark(item, "p", &responses);
    let mark = mark.steps.iter().find(|mark| mark.id == step.id).unwrap().clone();
    (mark.verdict, mark.points * 100 / mark.max)
}

/// The response of the project's own that a response of the cartridge stands for.
fn own_response(response: &str) -> String {
    response.replace('.', ", ")
}

fn step_of<'i>(item: &'i Item, mapped: &CartridgeItem) -> &'i Step {
    let id = mapped.identifier.split_once('.').map_or("", |(_, step)| step);
    item.steps.iter().find(|step| step.id == id).unwrap_or(&item.steps[0])
}

/// How often each kind of judgement was compared.
#[derive(Debug, Default)]
struct Compared {
    right: usize,
    form: usize,
    wrong: usize,
}

fn compare(item: &Item, mapped: &CartridgeItem, compared: &mut Compared) {
    let step = step_of(item, mapped);
    let typed = matches!(mapped.interaction, Interaction::Text);
    for condition in &mapped.conditions {
        for text in condition.test.equals() {
            // Capital letters do not matter where texts are typed.
            let ways = if typed { vec![text.to_owned(), text.to_uppercase()] } else { vec![text.to_owned()] };
            for way in ways {
                let own = if step.kind == StepKind::Order { own_response(&way) } else { way.clone() };
                let (found, points) = verdict(item, step, &own);
                let (given, shown) = score(mapped, &way);
                assert_eq!(given, points, "{} {way:?} {found:?}", mapped.identifier);
                match (found, &shown[..]) {
                    (Verdict::Correct, ["right"]) => compared.right += 1,
                    (Verdict::RightValueWrongForm, ["form"]) => compared.form += 1,
                    (Verdict::Wrong, [told]) if told.starts_with("wrong_") => compared.wrong += 1,
                    other => panic!("{} {way:?} {other:?}", mapped.identifier),
                }
            }
        }
    }
}

#[test]
fn every_listed_response_earns_what_marking_gives_it() {
    for (locale, least) in [("en-US", 5_000), ("es-US", 5_000)] {
        let mut compared = Compared::default();
        for item in whole_bank_in(locale, 1).items() {
            for mapped in map_item(item, "section").unwrap().items {
                compare(item, &mapped, &mut compared);
            }
        }
        assert!(
            compared.right > least && compared.form > 50 && compared.wrong > 1_000,
            "{locale} {compared:?}"
        );
    }
}

#[test]
fn the_right_answer_scores_100_and_predicted_ones_are_told_their_misconception() {
    for item in whole_bank(3).items() {
        let mapped = map_item(item, "section").unwrap();
        for one in &mapped.items {
            let step = step_of(item, one);
            let right = &item.right_responses()[step.id.as_str()];
            let key = if step.kind == StepKind::Order { right.replace(", ", ".") } else { right.clone() };
            assert_eq!(score(one, &key), (100, vec!["right"]), "{} {key}", one.identifier);
            assert_eq!(score(one, "no such answer"), (0, vec!["other"]), "{}", one.identifier);
            for wrong in &step.predicted {
                let answer = wrong.answer.to_string();
                let answer = if step.kind == StepKind::Order { answer.replace(", ", ".") } else { answer };
                let (given, shown) = score(one, &answer);
                assert!(
                    given == 0 && shown[0].starts_with("wrong_"),
                    "{} {answer}: {shown:?}",
                    one.identifier
                );
            }
        }
    }
}

#[test]
fn usual_spellings_of_a_number_are_listed() {
    let item = Sample::new("spelled", &[("a", "1234.25"), ("b", "0.25")])
        .number("long", "a + b", Rule::Exact, Form::default(), Some("kg"))
        .plain("short", "b + b")
        .number("money", "b + b", Rule::Exact, Form { places: Some(2), ..Form::default() }, Some("$"))
        .item();
    let mapped = map_item(&item, "section").unwrap();
    let [long, short, money] = &mapped.items[..] else { panic!("{mapped:?}") };
    let lists = |one: &CartridgeItem, texts: &[&str], points: u32| {
        for text in texts {
            assert_eq!(score(one, text).0, points, "{text}");
        }
    };
    let kilograms = [
        "1234.5",
        "1,234.5",
        "1234.50",
        "1 234.5 kg",
        "1234.5kg",
        "kg 1234.5",
        "1234.5 KILOGRAMS",
        "1234500 g",
    ];
    lists(long, &kilograms, 100);
    lists(long, &["1234.5 m", "12345", "1.234,5"], 0);
    let half = ["0.5", ".5", "0.50", "1/2", "5/10", "50%", "50 %", "five tenths"];
    lists(short, &half, 100);
    lists(money, &["0.50", "$.50", "$0.50", "$ 0.50", "0.50 dollars", "50¢", "50 cents"], 100);
    lists(money, &["0.5", "$.5", "1/2"], 0);
    assert_eq!(score(money, "0.5").1, ["form"]);
}

#[test]
fn what_cannot_be_listed_is_told_by_name() {
    let any = Form::default();
    let tolerance = |text: &str| Rule::Absolute { tolerance: decimal(text) };
    let givens = [("a", "12.4"), ("b", "3.57")];
    let item = Sample::new("losses", &givens)
        .number("near", "a + b", tolerance("0.05"), any, None)
        .number("far", "near * 100", tolerance("50"), any, None)
        .number("estimate", "a * 1", Rule::Interval { from: decimal("10"), to: decimal("15") }, any, None)
        .order("order", "descending(a, b)", &["12.4", "3.57"])
        .order("alone", "ascending(a, b)", &["12.4", "3.57"])
        .with(|question| question.steps[4].predicted.clear())
        .item();
    let mapped = map_item(&item, "section").unwrap();
    let names: Vec<&str> = mapped.items.iter().map(|item| item.identifier.as_str()).collect();
    assert_eq!(names, ["losses.near", "losses.estimate", "losses.order"]);
    let losses: Vec<(&str, Loss)> =
        mapped.left_out.iter().map(|left_out| (left_out.step.as_str(), left_out.loss)).collect();
    assert_eq!(
        losses,
        [
            ("near", Loss::ValuesBetween),
            ("far", Loss::TooManyValues),
            ("estimate", Loss::ValuesBetween),
            ("order", Loss::OrderChosen),
            ("alone", Loss::OrderAlone),
        ]
    );
    assert_eq!(
        mapped.left_out[0].to_string(),
        "item 'losses', step 'near': right values with more places than listed are marked wrong"
    );
    for (response, points) in [("15.92", 100), ("16.02", 100), ("15.91", 0), ("16.03", 0)] {
        assert_eq!(score(&mapped.items[0], response).0, points, "{response}");
    }
    let wide = Sample::new("wide", &givens).number("far", "a * 100", tolerance("500"), any, None).item();
    let mapped = map_item(&wide, "section").unwrap();
    assert!(mapped.items.is_empty());
    assert_eq!(mapped.left_out[0].loss, Loss::TooManyValues);
    let section = Section { id: "all".into(), title: "All".into(), pick: 1, items: vec![wide] };
    let pool = Pool::new("wide-pool".into(), "Wide".into(), "en-US".into(), vec![section]).unwrap();
    let refused = write_cartridge(&pool, &CartridgeOptions::default(), Cursor::new(Vec::new()));
    assert!(matches!(refused, Err(CartridgeError::Nothing(id)) if id == "wide-pool"));
}

#[test]
fn numbers_are_spelled_as_in_the_region() {
    let item = Sample::new("comma", &[("a", "1234.25"), ("b", "0.25")])
        .with(|question| question.locale = "es-ES".into())
        .plain("sum", "a + b")
        .item();
    let mapped = map_item(&item, "section").unwrap();
    for (response, points) in [("1234,5", 100), ("1.234,50", 100), ("1 234,5", 100), ("1234.5", 0)] {
        assert_eq!(score(&mapped.items[0], response).0, points, "{response}");
    }
}

#[test]
fn partial_credit_for_another_form_is_kept() {
    let form = Form { places: Some(2), credit: Credit::Part, ..Form::default() };
    let item = Sample::new("part", &[("a", "1.25")]).number("sum", "a + a", Rule::Exact, form, None).item();
    let mapped = map_item(&item, "section").unwrap();
    assert_eq!(score(&mapped.items[0], "2.50"), (100, vec!["right"]));
    assert_eq!(score(&mapped.items[0], "2.5"), (50, vec!["form"]));
}

#[test]
fn steps_do_not_tell_earlier_answers() {
    let item = Sample::new("chain", &[("a", "12.4"), ("b", "3.57")])
        .plain("total", "a + b")
        .plain("left", "20 - total")
        .plain("apart", "a - b")
        .item();
    let mapped = map_item(&item, "section").unwrap();
    let texts: Vec<&str> = mapped.items.iter().map(|item| text(&item.prompt)).collect();
    assert!(texts[1].contains("How much is total?") && texts[1].ends_with("<p>How much is left?</p>"));
    assert!(!texts[2].contains("total") && texts[2].contains("The river rose."));
    assert!(texts.iter().all(|text| !text.contains("15.97")), "{texts:?}");
}

fn text(material: &Material) -> &str {
    match material {
        Material::Plain(text) | Material::Html(text) => text,
    }
}

#[test]
fn reads_back_what_it_writes() {
    for pool in [whole_bank(2), whole_bank_in("es-US", 1), by_hand()] {
        let (bytes, report) = written(&pool, &CartridgeOptions::default());
        let mut read = 0;
        for (index, section) in pool.sections.iter().enumerate() {
            let mapped = section.items.iter().map(|item| map_item(item, &section.title).unwrap());
            let expected: Vec<CartridgeItem> = mapped.flat_map(|mapped| mapped.items).collect();
            let bank = member(&bytes, &format!("banks/section-{}-1.xml", index + 1));
            let bank = read_document(bank.as_bytes()).unwrap();
            assert!(bank.is_bank && bank.problems.is_empty(), "{:?}", bank.problems);
            assert_eq!(bank.items, expected);
            read += bank.items.len();
            let quiz = member(&bytes, &format!("quizzes/section-{}.xml", index + 1));
            let quiz = read_document(quiz.as_bytes()).unwrap();
            assert!(!quiz.is_bank && quiz.problems.is_empty() && !quiz.items.is_empty());
            assert!(quiz.items.iter().all(|item| expected.contains(item)));
        }
        assert_eq!(read as u64, report.items);
    }
}

#[test]
fn identifiers_and_choices_are_unique() {
    let pool = whole_bank(3);
    let mut seen = BTreeSet::new();
    let mut kinds = BTreeMap::new();
    for item in pool.items() {
        for one in map_item(item, "section").unwrap().items {
            *kinds.entry(one.profile.name()).or_insert(0) += 1;
            if let Interaction::One(choices) = &one.interaction {
                let texts: BTreeSet<&str> =
                    choices.choices.iter().map(|Choice { text: said, .. }| text(said)).collect();
                assert_eq!(texts.len(), choices.choices.len(), "{}", one.identifier);
            }
            assert!(seen.insert(one.identifier.to_lowercase()), "{}", one.identifier);
        }
    }
    assert_eq!(
        kinds.keys().copied().collect::<Vec<_>>(),
        [Profile::FillIn.name(), Profile::MultipleChoice.name()]
    );
}

/// What others write differently: a flow, bare alternatives, several choices, and faults in single items.
#[test]
fn reads_what_others_write() {
    let document = r#"<questestinterop xmlns="http://www.imsglobal.org/xsd/ims_qtiasiv1p2"><assessment ident="q" title="Q">
<section ident="s">
<item ident="one" title="One"><itemmetadata><qtimetadata>
<qtimetadatafield><fieldlabel>cc_profile</fieldlabel><fieldentry>cc.fib.v0p1</fieldentry></qtimetadatafield></qtimetadata></itemmetadata>
<presentation><flow><material><mattext>How long?</mattext></material>
<response_str ident="r" rcardinality="Single"><render_fib/></response_str></flow></presentation>
<resprocessing><outcomes><decvar/></outcomes>
<respcondition><conditionvar><varequal respident="r">12</varequal><varequal respident="r">12.0</varequal></conditionvar>
<setvar>100</setvar></respcondition></resprocessing></item>
<item ident="two"><itemmetadata><qtimetadata>
<qtimetadatafield><fieldlabel>cc_profile</fieldlabel><fieldentry>cc.multiple_response.v0p1</fieldentry></qtimetadatafield></qtimetadata></itemmetadata>
<presentation><response_lid ident="r" rcardinality="Multiple"><render_choice shuffle="Yes">
<response_label ident="A"><material><mattext texttype="text/html">&lt;b&gt;a&lt;/b&gt;</mattext></material></response_label>
<response_label ident="B"/></render_choice></response_lid></presentation>
<resprocessing><respcondition><conditionvar><and><varequal respident="r" case="Yes">A</varequal><not><varequal respident="r">B</varequal></not></and></conditionvar>
<setvar>100</setvar></respcondition></resprocessing></item>
<item ident="two"><presentation/></item>
<item ident="three"><presentation><response_num ident="r"/></presentation></item>
<item ident="four"><itemmetadata><qtimetadata>
<qtimetadatafield><fieldlabel>cc_profile</fieldlabel><fieldentry>cc.fib.v0p1</fieldentry></qtimetadatafield></qtimetadata></itemmetadata>
<presentation><response_str ident="r"><render_fib/></response_str></presentation>
<resprocessing><respcondition><conditionvar><varequal respident="r">1</varequal></conditionvar><setvar>1000</setvar></respcondition></resprocessing></item>
</section></assessment></questestinterop>"#;
    let read = read_document(document.as_bytes()).unwrap();
    let [one, two] = &read.items[..] else { panic!("{read:?}") };
    assert_eq!(one.right().collect::<Vec<_>>(), ["12", "12.0"]);
    assert_eq!((score(one, "12.0").0, score(one, "13").0, one.profile), (100, 0, Profile::FillIn));
    assert!(
        matches!(&two.interaction, Interaction::Several(choices) if choices.shuffle && choices.choices.len() == 2)
    );
    let test = &two.conditions[0].test;
    assert!(test.holds(&["A"]) && !test.holds(&["B"]));
    let told: Vec<String> =
        read.problems.iter().map(|problem| format!("{}: {}", problem.line, problem.reason)).collect();
    assert_eq!(
        told,
        [
            "17: the item 'two' stands here twice",
            "18: 'response_num' is not in the profile",
            "22: a condition does not set SCORE to a number from 0 to 100",
        ]
    );
}

#[test]
fn refuses_documents_of_another_kind() {
    let read = |text: &str| read_document(text.as_bytes()).unwrap_err();
    let of = |content: &str| {
        format!(
            "<questestinterop xmlns=\"http://www.imsglobal.org/xsd/ims_qtiasiv1p2\">{content}</questestinterop>"
        )
    };
    assert!(matches!(read("<questestinterop/>"), CartridgeReadError::Root { line: 1, .. }));
    assert!(matches!(read(&of("<item/>")), CartridgeReadError::Content { line: 1, name } if name == "item"));
    assert!(matches!(read(&of("")), CartridgeReadError::Content { .. }));
    assert!(matches!(read(&of("<objectbank/><objectbank/>")), CartridgeReadError::Content { .. }));
    let unsafe_link = CartridgeOptions {
        live_quiz: Some(LiveQuiz { launch_url: "javascript:alert(1)".into(), custom: BTreeMap::new() }),
        ..CartridgeOptions::default()
    };
    let refused = write_cartridge(&by_hand(), &unsafe_link, Cursor::new(Vec::new()));
    assert!(matches!(refused, Err(CartridgeError::LaunchUrl(_))));
}
