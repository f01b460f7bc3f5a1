//! Items that the platform varies itself: what a platform would draw, work out and score, clone by clone, against the
//! family as the question bank sees it.
use std::{
    collections::BTreeMap,
    fs::File,
    io::{Cursor, Write},
};

use exporters::{
    archive::{ArchiveError, ArchiveWriter, EARLIEST, MemberName},
    processor::{self, Play, Session, Value, value::Scalar},
    qti::{
        PackageOptions, QtiVersion, Solution,
        report::ExportReport,
        template::{Refusal, Template, map_family},
        write::write_item,
        write_template_package,
    },
};
use qbank::{
    bank,
    family::Family,
    marking::{Verdict, mark},
    question::{Item, Key, StepKind},
};

use serde_json::{Value as Json, json};

use crate::{
    agreement::{Written, compared, tell},
    cases::{Dice, Responses, expected_feedback, given, some_pupil},
    player::{responses, written},
    schemas::{assert_valid, member, options, whole_bank_in},
};

/// Clones tried of each template.
const CLONES: u64 = 200;

fn template(family: &Family, locale: &str) -> Result<Template, Refusal> {
    map_family(family, locale, Solution::AfterLastAttempt, 1)
}

/// What a platform draws from a template.
struct Clone<'i> {
    item: &'i processor::Item,
    session: Session<'i>,
}

impl<'i> Clone<'i> {
    fn drawn(item: &'i processor::Item, play: Play<'_>) -> Self {
        Self { item, session: Session::begin(item, play).unwrap() }
    }

    /// What a variable holds; `None` where there is no such variable.
    fn held(&self, name: &str) -> Option<&Value> {
        let declared = self.item.declarations.iter().any(|declared| declared.identifier == name);
        declared.then(|| self.session.value(name))
    }

    fn float(&self, name: &str) -> Option<f64> {
        self.held(name)?.as_float()
    }

    fn text(&self, name: &str) -> Option<&str> {
        self.held(name)?.as_text()
    }

    /// The numbers that a result report would give.
    fn drawn_variables(&self) -> BTreeMap<String, String> {
        let names = self.item.declarations.iter().map(|declared| &declared.identifier);
        names.filter_map(|name| Some((name.clone(), self.float(name)?.to_string()))).collect()
    }
}

/// The question that a clone is, as the question bank makes it of the same numbers.
fn question(family: &Family, template: &Template, clone: &Clone<'_>) -> Item {
    let drawn = clone.drawn_variables();
    let variables = drawn.iter().map(|(name, value)| (name.as_str(), value.as_str())).collect();
    template
        .question(family, "en-US", &variables)
        .unwrap_or_else(|error| panic!("{}: {drawn:?}: {error}", family.id))
}

/// What a variable holds, as a key of the step.
fn as_key(held: &Value, step: StepKind) -> Option<Key> {
    match (held, step) {
        (Value::Null, _) => None,
        (Value::Single(Scalar::Float(number)), _) => {
            Some(Key::Number(format!("{number:.9}").parse().unwrap()))
        }
        (Value::Single(Scalar::Identifier(id)), _) => Some(Key::Choice(id.clone())),
        (Value::Ordered(ids), _) => Some(Key::Order(ids.iter().map(|id| text(id).into()).collect())),
        (held, kind) => panic!("{held:?} for {kind:?}"),
    }
}

fn text(held: &Scalar) -> String {
    match held {
        Scalar::Identifier(text) => text.to_string(),
        other => panic!("{other:?} where an identifier belongs"),
    }
}

/// The right answer and every predicted one are what the question bank has, and no others are predicted.
fn assert_same_answers(item: &Item, clone: &Clone<'_>) {
    for (step, proven) in item.steps_proven() {
        let context = format!("{} {}: {:?}", item.id, step.id, item.given_names());
        let key = clone.held(&format!("KEY_{}", step.id)).unwrap();
        assert_eq!(as_key(key, step.kind).as_ref(), Some(&proven.key), "{context}");
        assert_eq!(clone.session.correct(&format!("RESPONSE_{}", step.id)), key, "{context}");
        let predicted = (1..).map_while(|index| clone.held(&format!("WRONG_{}_{index}", step.id)));
        let predicted: Vec<Key> = predicted.filter_map(|held| as_key(held, step.kind)).collect();
        for wrong in &proven.wrong {
            let found = predicted.contains(&wrong.key);
            assert!(found, "{context}: {:?} of {:?} not in {predicted:?}", wrong.key, wrong.misconceptions);
        }
        for key in predicted {
            let known = proven.wrong.iter().any(|wrong| wrong.key == key);
            assert!(known, "{context}: {key:?} is predicted by no misconception of the question bank");
        }
    }
}

/// A clone scores one pupil's responses as the project's own marking does.
fn assert_same_marks(template: &Template, item: &Item, clone: &mut Clone<'_>, given: &Responses) {
    clone.session.attempt(&responses(clone.item, given)).unwrap();
    let session = &*clone;
    let marked = mark(item, "p-01", given);
    let lossy = |step: &str| template.left_out.iter().any(|left_out| left_out.step == step);
    for (step, (_, proven)) in marked.steps.iter().zip(item.steps_proven()) {
        if step.verdict == Verdict::FollowThrough && lossy(&step.id) {
            continue;
        }
        let context = format!("{} {} {given:?} {:?}", item.id, step.id, item.given_names());
        let mut expected: Vec<String> =
            expected_feedback(item, step, proven).split('.').map(str::to_owned).collect();
        expected.sort_unstable();
        let mut found = match session.text(&format!("FEEDBACK_{}", step.id)) {
            Some("PREDICTED") => match session.held(&format!("CONSISTENT_{}", step.id)) {
                Some(Value::Multiple(ids) | Value::Ordered(ids)) => ids.iter().map(text).collect(),
                other => panic!("{context}: {other:?}"),
            },
            other => vec![other.unwrap_or("nothing").to_owned()],
        };
        found.sort_unstable();
        assert_eq!(found, expected, "{context}");
        let score = session.float(&format!("SCORE_{}", step.id));
        assert_eq!(score, Some(f64::from(step.points)), "{context}");
    }
}

/// The same answers without units and commas between thousands, which a template does not read.
fn plainly(item: &Item, mut given: Responses) -> Responses {
    for step in item.steps.iter().filter(|step| step.kind == StepKind::Number) {
        if let Some(text) =
            given.get_mut(step.id.as_str()).filter(|text| text.contains(|sign: char| sign.is_ascii_digit()))
        {
            text.retain(|sign| sign.is_ascii_digit() || matches!(sign, '.' | '-'));
        }
    }
    given
}

fn assert_clone(family: &Family, template: &Template, clone: &mut Clone<'_>, dice: &mut Dice) {
    let item = question(family, template, clone);
    assert_same_answers(&item, clone);
    let right = item.right_responses();
    assert_same_marks(template, &item, clone, &right);
    for (step, proven) in item.steps_proven() {
        for wrong in &proven.wrong {
            let mut responses = right.clone();
            responses.insert(step.id.to_string(), given(&item, step, &wrong.key));
            assert_same_marks(template, &item, clone, &responses);
        }
    }
    assert_same_marks(template, &item, clone, &plainly(&item, some_pupil(&item, dice)));
}

/// Every second family from `first` on, so that the two halves run side by side.
fn assert_half_of_the_bank(first: usize) {
    let mut faults: BTreeMap<String, String> = BTreeMap::new();
    for family in bank::families().unwrap().iter().skip(first).step_by(2) {
        let Ok(template) = template(family, "en-US") else { continue };
        let tried = std::panic::catch_unwind(|| {
            let items = QtiVersion::ALL.map(|version| written(&template.item, version));
            let mut dice = Dice(7);
            for seed in 0..CLONES {
                let version = usize::try_from(seed).unwrap() % items.len();
                let mut clone = Clone::drawn(&items[version], Play::Drawn(&format!("clone {seed}")));
                assert_clone(family, &template, &mut clone, &mut dice);
            }
        });
        if let Err(fault) = tried {
            let said = fault.downcast_ref::<String>().cloned().unwrap_or_default();
            faults.insert(family.id.to_string(), said);
        }
    }
    assert!(faults.is_empty(), "{faults:#?}");
}

#[test]
fn clones_of_one_half_of_the_bank_are_questions_of_their_families() {
    assert_half_of_the_bank(0);
}

#[test]
fn clones_of_the_other_half_of_the_bank_are_questions_of_their_families() {
    assert_half_of_the_bank(1);
}

#[test]
fn defaults_stand_for_a_question_where_no_draw_ever_satisfies_the_constraints() {
    for family in bank::families().unwrap() {
        let Ok(template) = template(&family, "en-US") else { continue };
        let item = written(&template.item, QtiVersion::V30);
        let mut clone = Clone::drawn(&item, Play::Defaults);
        assert_clone(&family, &template, &mut clone, &mut Dice(1));
    }
}

/// Clones of each template that pyslet plays, and made-up pupils for each.
const OUTSIDE_CLONES: u64 = 3;
const OUTSIDE_PUPILS: usize = 4;

/// What is given to a clone by its response variables, and what its outcomes must be; `None` where the template follows
/// an own value less far than marking.
fn case(template: &Template, item: &Item, responses: &Responses) -> Option<Json> {
    let marked = mark(item, "p-01", responses);
    let lossy = |step: &str| template.left_out.iter().any(|left_out| left_out.step == step);
    if marked.steps.iter().any(|step| step.verdict == Verdict::FollowThrough && lossy(&step.id)) {
        return None;
    }
    let mut outcomes = BTreeMap::from([("SCORE".to_owned(), json!(marked.points))]);
    for (step, (_, proven)) in marked.steps.iter().zip(item.steps_proven()) {
        let feedback = expected_feedback(item, step, proven);
        let predicted = step.verdict == Verdict::Wrong && feedback != "OTHER";
        outcomes.insert(format!("SCORE_{}", step.id), json!(step.points));
        outcomes
            .insert(format!("FEEDBACK_{}", step.id), json!(if predicted { "PREDICTED" } else { &feedback }));
        if predicted {
            let ids: Vec<&str> = feedback.split('.').collect();
            outcomes.insert(format!("CONSISTENT_{}", step.id), json!(ids));
        }
    }
    let answers = item.steps.iter().filter_map(|step| {
        let text = responses.get(step.id.as_str()).filter(|text| !text.is_empty())?;
        let answer = match step.kind {
            StepKind::Order => json!(text.split(", ").collect::<Vec<_>>()),
            _ => json!(text),
        };
        Some((format!("RESPONSE_{}", step.id), answer))
    });
    Some(json!({ "answers": answers.collect::<BTreeMap<_, _>>(), "outcomes": outcomes }))
}

/// Right, each predicted answer in its step, blank, and some pupils who go wrong in several steps.
fn several_responses(item: &Item, dice: &mut Dice) -> Vec<Responses> {
    let right = item.right_responses();
    let mut all = vec![right.clone(), Responses::new()];
    for (step, proven) in item.steps_proven() {
        for wrong in &proven.wrong {
            let mut responses = right.clone();
            responses.insert(step.id.to_string(), given(item, step, &wrong.key));
            all.push(responses);
        }
    }
    all.extend((0..OUTSIDE_PUPILS).map(|_| plainly(item, some_pupil(item, dice))));
    all
}

/// Clones of one template with what is given to them, as the script reads it.
fn clones_with_cases(family: &Family, template: &Template, path: &str, dice: &mut Dice) -> Vec<Json> {
    let read = written(&template.item, QtiVersion::V21);
    let clone = |number| {
        let clone = Clone::drawn(&read, Play::Drawn(&format!("outside {number}")));
        let item = question(family, template, &clone);
        let given = several_responses(&item, dice);
        let cases: Vec<Json> = given.iter().filter_map(|given| case(template, &item, given)).collect();
        let drawn = read.declarations.iter().filter_map(|declared| {
            Some((&declared.identifier, clone.held(&declared.identifier)?.scalar()?.to_string()))
        });
        json!({
            "item": format!("{} {number}", family.id), "family": family.id, "path": path,
            "drawn": drawn.collect::<BTreeMap<_, _>>(), "cases": cases,
        })
    };
    (0..OUTSIDE_CLONES).map(clone).collect()
}

/// Clones of every template in an independent processor of QTI 2.1: the same numbers, so the same points and feedback.
/// Items of 3.0 and 2.2, renamed, are the same documents.
#[test]
fn clones_score_in_an_independent_processor_as_in_the_projects_own_marking() {
    let folder = tempfile::tempdir().unwrap();
    let versions = [QtiVersion::V21, QtiVersion::V22, QtiVersion::V30];
    let packages: Vec<_> =
        versions.iter().map(|version| folder.path().join(format!("{version:?}.zip"))).collect();
    let open = |path| ArchiveWriter::new(File::create(path).unwrap(), EARLIEST).unwrap();
    let mut archives: Vec<_> = packages.iter().map(open).collect();
    let (mut items, mut families, mut dice) = (Vec::new(), 0, Dice(11));
    for family in bank::families().unwrap() {
        let Ok(template) = template(&family, "en-US") else { continue };
        families += 1;
        let path = format!("items/{}.xml", family.id);
        for (archive, version) in archives.iter_mut().zip(versions) {
            let content = |out: &mut dyn Write| {
                write_item(out, version.dialect(), &template.item).unwrap();
                Ok::<_, ArchiveError>(())
            };
            archive.member(&MemberName::new(&path).unwrap(), content).unwrap();
        }
        items.extend(clones_with_cases(&family, &template, &path, &mut dice));
    }
    for archive in archives {
        archive.finish().unwrap();
    }
    let responses = items.iter().map(|item| item["cases"].as_array().unwrap().len()).sum();
    let count = items.len();
    let cases = folder.path().join("cases.json");
    std::fs::write(&cases, Json::from(items).to_string()).unwrap();
    let Some(out) = compared(&Written { cases, packages, responses }) else { return };
    let said = String::from_utf8_lossy(&out.stdout) + String::from_utf8_lossy(&out.stderr);
    let same = |version| format!("{version}.zip: {count} of {count} items, renamed, are the same document\n");
    let all = format!("{count} items of {families} families, {responses} responses, 0 disagreements\n");
    assert_eq!(said, format!("{}{}{all}", same("V22"), same("V30")));
    assert!(families >= 60, "{families}");
    tell(&said);
}

fn package(locale: &str, version: QtiVersion) -> (Vec<u8>, ExportReport) {
    let pool = whole_bank_in(locale, 2);
    let mut out = Cursor::new(Vec::new());
    let options = PackageOptions { version, ..options() };
    let report = write_template_package(&pool, &bank::families().unwrap(), &options, &mut out).unwrap();
    (out.into_inner(), report)
}

/// Families of the bank that no template expresses are named, each with the reason that a teacher reads.
#[test]
fn templates_of_the_whole_bank_are_valid_and_the_rest_is_named() {
    let (english, report) = package("en-US", QtiVersion::V30);
    let (spanish, in_spanish) = package("es-US", QtiVersion::V22);
    let (oldest, _) = package("en-US", QtiVersion::V21);
    assert_valid(&[
        ("templates-en.zip", &english),
        ("templates-es.zip", &spanish),
        ("templates-en-oldest.zip", &oldest),
    ]);
    assert_eq!(report.stays_fixed, in_spanish.stays_fixed);
    let said: Vec<String> = report.stays_fixed.iter().map(ToString::to_string).collect();
    let words = "because the standard cannot put numbers into words";
    let expected = [
        ("subtract-across-zero", "of 100 draws satisfy the constraints; expected 20 or more"),
        ("larger-sum", "of 100 draws satisfy the constraints; expected 20 or more"),
        ("find-mistake-power", "because a value could outgrow the standard's integers of 32 bits"),
        ("say-tenths", words),
        ("say-hundredths", words),
        ("say-thousandths", words),
        ("say-zero-inside", words),
        ("read-tenths-hundredths", words),
        ("read-zero-inside", words),
        ("story-river-log", words),
    ];
    for (family, reason) in expected {
        let named = format!("family '{family}'");
        assert!(
            said.iter().any(|line| line.contains(&named) && line.ends_with(reason)),
            "{family}: {said:#?}"
        );
    }
    assert_eq!(said.len(), expected.len(), "{said:#?}");
    assert!(report.items.len() >= 100 + 2 * expected.len());
}

#[test]
fn a_template_is_given_as_often_as_its_section_is_drawn_from() {
    let mut pool = whole_bank_in("en-US", 3);
    pool.sections.retain(|section| section.id == "section-add-ragged");
    pool.sections[0].pick = 3;
    let mut out = Cursor::new(Vec::new());
    let report = write_template_package(&pool, &bank::families().unwrap(), &options(), &mut out).unwrap();
    let package = out.into_inner();
    assert_eq!(report.items.len(), 1);
    let mut again = Cursor::new(Vec::new());
    write_template_package(&pool, &bank::families().unwrap(), &options(), &mut again).unwrap();
    assert!(again.into_inner() == package, "equal pools give equal bytes");
    let test = member(&package, "test.xml");
    for number in 1..=3 {
        let reference =
            format!("identifier=\"section-add-ragged_item_{number}\" href=\"items/item-add-ragged-v");
        assert!(test.contains(&reference), "{test}");
    }
    let manifest = member(&package, "imsmanifest.xml");
    assert!(manifest.contains("<itemTemplate>true</itemTemplate>"), "{manifest}");
    assert!(manifest.contains("<catalog>tenths family</catalog>"), "{manifest}");
    assert!(manifest.contains(" en-US</entry>"), "{manifest}");
    assert_valid(&[("one-template.zip", &package)]);
}

/// The policy of solutions is kept: the same words in a rubric for scorers, in feedback, or nowhere.
#[test]
fn a_template_tells_its_solution_to_whom_the_policy_says() {
    let family = bank::family("add-ragged").unwrap();
    let written_by = |solution| {
        let template = map_family(&family, "en-US", solution, 1).unwrap();
        let mut bytes = Vec::new();
        write_item(&mut bytes, QtiVersion::V30.dialect(), &template.item).unwrap();
        String::from_utf8(bytes).unwrap()
    };
    let [withheld, after, scorers] =
        [Solution::Withheld, Solution::AfterLastAttempt, Solution::ForScorers].map(written_by);
    let rubric = |text: &str| text[text.find("<qti-rubric-block").unwrap()..].to_owned();
    let told = |text: &str| rubric(text).split("</qti-rubric-block>").next().unwrap().len();
    assert!(
        after.contains("\"WORKED\"") && !scorers.contains("\"WORKED\"") && !withheld.contains("\"WORKED\"")
    );
    assert!(told(&scorers) > told(&withheld), "the rubric holds the solution");
    assert_eq!(told(&after), told(&withheld));
}

#[test]
fn families_that_the_bank_does_not_have_stay_fixed() {
    let pool = whole_bank_in("en-US", 2);
    let mut out = Cursor::new(Vec::new());
    let report = write_template_package(&pool, &[], &options(), &mut out).unwrap();
    assert_eq!(report.stays_fixed.len(), pool.sections.len());
    assert!(report.stays_fixed[0].to_string().contains("the question bank does not have version"));
}
