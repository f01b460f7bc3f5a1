//! The pupil's pages.

use std::collections::BTreeSet;

use super::*;
use crate::storage::DeliveryState;

#[actix_web::test]
async fn a_pupil_starts_saves_comes_back_and_hands_in() {
    let school = School::open(TWO_QUESTIONS_TWO_ATTEMPTS).await;
    let pupil = school.pupil("p-07").await;
    let start = pupil.get(&pupil.start).await;
    assert_eq!(start.status, StatusCode::OK);
    for expected in ["River day", "<dd>2</dd>", "0 of 2 used", "Your best attempt goes to the gradebook."] {
        assert!(start.body.contains(expected), "{expected}: {}", start.body);
    }

    let (path, attempt) = pupil.begin("p-07").await;
    let item = school.questions(&attempt)[0];
    let typed = [(format!("q1.{}", item.steps[0].id), "  1O.5? ".to_owned())];
    let saved = pupil.post_form(&format!("{path}/save"), &typed).await;
    assert_eq!((saved.status, saved.location), (StatusCode::SEE_OTHER, format!("{path}?saved=yes")));

    let resumed = school.pupil("p-07").await;
    let start = resumed.get(&resumed.start).await.body;
    assert!(start.contains("Go on with your attempt") && start.contains("1 of"), "{start}");
    let page = resumed.get(&path).await.body;
    assert!(page.contains("value=\"  1O.5? \""), "typed text is kept as typed: {page}");

    let handed_in = resumed.post_form(&format!("{path}/submit"), &school.fields(&attempt, right)).await;
    assert_eq!((handed_in.status, handed_in.location.as_str()), (StatusCode::SEE_OTHER, path.as_str()));
    let result = resumed.get(&path).await.body;
    let possible: u32 = school.questions(&attempt).iter().map(|item| item.max_points()).sum();
    assert!(result.contains(&format!("<strong>{possible}</strong> <span>of {possible} points")), "{result}");
    assert!(result.contains("Try again with new numbers"), "{result}");
}

#[actix_web::test]
async fn a_slip_costs_once_and_its_reason_is_told_kindly() {
    let school = School::open(TWO_QUESTIONS_TWO_ATTEMPTS).await;
    let pupil = school.pupil("p-07").await;
    let (path, attempt) = pupil.begin("p-07").await;
    let fields = school.fields(&attempt, |item, step| match item.steps.len() {
        1 => right(item, step),
        _ => one_slip(item)[step].clone(),
    });
    pupil.post_form(&format!("{path}/submit"), &fields).await;
    let story = school.questions(&attempt).into_iter().find(|item| item.steps.len() > 1).unwrap();
    let result = pupil.get(&path).await.body;
    let first = story.steps[0].predicted[0].misconception.split(" | ").next().unwrap();
    let reason = qbank::misconceptions::find(first).unwrap().pupil(qbank::locale::Language::English);
    assert!(result.contains(reason), "{reason}: {result}");
    assert!(result.contains("You went on correctly from your own earlier answer"), "{result}");
    assert!(result.contains(story.steps[0].solution.last().unwrap().as_str()), "working: {result}");
    let closed = &school.attempts("p-07").await[0];
    let closed = closed.result.as_ref().unwrap();
    assert_eq!(closed.points, closed.maximum - story.steps[0].points);
}

#[actix_web::test]
async fn a_quiz_that_follows_no_own_values_says_so_before_and_counts_so_after() {
    let policy = Policy { follow_through: false, form_credit: None };
    let school = School::open(Placed { policy, ..TWO_QUESTIONS_TWO_ATTEMPTS }).await;
    let pupil = school.pupil("p-07").await;
    let start = pupil.get(&pupil.start).await.body;
    assert!(start.contains("only the right value counts in each step"), "{start}");
    let (path, attempt) = pupil.begin("p-07").await;
    let fields = school.fields(&attempt, |item, step| match item.steps.len() {
        1 => right(item, step),
        _ => one_slip(item)[step].clone(),
    });
    pupil.post_form(&format!("{path}/submit"), &fields).await;
    let closed = school.attempts("p-07").await.remove(0).result.unwrap();
    let story = school.questions(&attempt).into_iter().find(|item| item.steps.len() > 1).unwrap();
    let marks: Vec<qbank::marking::Mark> = serde_json::from_str(&closed.marks).unwrap();
    let of_story = marks.iter().find(|mark| mark.question == story.id).unwrap();
    let followed = qbank::marking::mark(story, "p-07", &one_slip(story));
    assert_eq!(*of_story, qbank::marking::mark_with(story, "p-07", &one_slip(story), policy));
    assert!(of_story.points < followed.points, "{} of {}", of_story.points, followed.points);
    let overview = school.teacher().await;
    let overview = overview.get(&overview.start).await.body;
    assert!(overview.contains("Only the right value earns points"), "{overview}");
}

#[actix_web::test]
async fn nothing_that_tells_an_answer_is_on_the_page_of_an_open_attempt() {
    let school = School::open(Placed { questions: 10, attempts: 1, ..TWO_QUESTIONS_TWO_ATTEMPTS }).await;
    let pupil = school.pupil("p-07").await;
    let (path, attempt) = pupil.begin("p-07").await;
    let items = school.questions(&attempt);
    let typed = [("q1.unknown".to_owned(), "7".to_owned())];
    let saved = pupil.post_form(&format!("{path}/save"), &typed).await;
    let empty = pupil.post_form(&format!("{path}/submit"), &typed).await;
    assert_eq!(empty.status, StatusCode::UNPROCESSABLE_ENTITY);
    let pages = [
        pupil.get(&path).await.body,
        pupil.get(&saved.location).await.body,
        pupil.get(&pupil.start).await.body,
        empty.body,
    ];
    let mut checked = 0;
    for page in &pages {
        assert!(!page.contains(&attempt.seed), "the attempt's seed");
        let numerals = numerals(page);
        for item in &items {
            for secret in [&item.receipt, &item.id, &item.family] {
                assert!(!page.contains(secret.as_str()), "{secret}");
            }
            let shown = numerals_of_question(item);
            for step in &item.steps {
                for line in step.solution.iter().filter(|line| line.trim().len() > 6) {
                    assert!(!page.contains(line.as_str()), "working {line:?}");
                }
                let predicted = step.predicted.iter().map(|prediction| prediction.answer.to_string());
                let secrets = predicted.chain([step.answer.to_string()]);
                let all_shown =
                    items.iter().flat_map(|item| numerals_of_question(item)).collect::<BTreeSet<_>>();
                for secret in secrets.filter(|secret| secret.contains('.') && !all_shown.contains(secret)) {
                    assert!(!numerals.contains(&secret), "{secret} of {} in {page}", item.id);
                    checked += 1;
                }
            }
            assert!(page == &pages[2] || shown.is_subset(&numerals), "the page shows the question's numbers");
        }
    }
    assert!(checked > 100, "only {checked} answers could be told from numbers that the page must show");
}

/// Decimal numerals in a text.
fn numerals(text: &str) -> BTreeSet<String> {
    let parts = text.split(|sign: char| !sign.is_ascii_digit() && sign != '.');
    parts.map(|part| part.trim_matches('.').to_owned()).filter(|part| !part.is_empty()).collect()
}

/// Numerals that a pupil must see: those of story, prompts and choices.
fn numerals_of_question(item: &Item) -> BTreeSet<String> {
    let steps = item.steps.iter().flat_map(|step| {
        step.choices.iter().map(|choice| choice.text.as_str()).chain([step.prompt.as_str()])
    });
    steps.chain([item.stem.as_str()]).flat_map(numerals).collect()
}

#[actix_web::test]
async fn handing_in_with_empty_answers_asks_once() {
    let school = School::open(TWO_QUESTIONS_TWO_ATTEMPTS).await;
    let pupil = school.pupil("p-07").await;
    let (path, attempt) = pupil.begin("p-07").await;
    let mut fields = school.fields(&attempt, right);
    fields[0].1.clear();
    let asked = pupil.post_form(&format!("{path}/submit"), &fields).await;
    assert_eq!(asked.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(asked.body.contains("still empty") && asked.body.contains("Hand in anyway"), "{}", asked.body);
    let open = &school.attempts("p-07").await[0];
    assert!(open.result.is_none());
    assert_eq!(
        open.responses.values().map(BTreeMap::len).sum::<usize>(),
        fields.len() - 1,
        "the rest is saved"
    );

    fields.push(("allow_empty".into(), "yes".into()));
    assert_eq!(pupil.post_form(&format!("{path}/submit"), &fields).await.status, StatusCode::SEE_OTHER);
    assert!(school.attempts("p-07").await[0].result.is_some());
}

#[actix_web::test]
async fn an_answer_that_is_too_long_is_named_and_shown_and_the_rest_is_saved() {
    let school = School::open(TWO_QUESTIONS_TWO_ATTEMPTS).await;
    let pupil = school.pupil("p-07").await;
    let (path, attempt) = pupil.begin("p-07").await;
    let mut fields = school.fields(&attempt, |_, _| "1.5".into());
    fields[0].1 = "1".repeat(201);
    for button in ["save", "submit"] {
        let refused = pupil.post_form(&format!("{path}/{button}"), &fields).await;
        assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY);
        assert!(refused.body.contains("up to 200 characters"), "{}", refused.body);
        assert!(refused.body.contains(&fields[0].1), "the long text is still there");
    }
    let open = &school.attempts("p-07").await[0];
    assert!(open.result.is_none());
    assert_eq!(open.responses.values().map(BTreeMap::len).sum::<usize>(), fields.len() - 1);
}

#[actix_web::test]
async fn handing_in_twice_changes_nothing() {
    let school = School::open(TWO_QUESTIONS_TWO_ATTEMPTS).await;
    let pupil = school.pupil("p-07").await;
    let (path, attempt) = pupil.begin("p-07").await;
    let submit = format!("{path}/submit");
    pupil.post_form(&submit, &school.fields(&attempt, right)).await;
    let first = school.attempts("p-07").await;
    let again = pupil.post_form(&submit, &school.fields(&attempt, |_, _| "0".into())).await;
    assert_eq!((again.status, again.location.as_str()), (StatusCode::SEE_OTHER, path.as_str()));
    let late = pupil.post_form(&format!("{path}/save"), &school.fields(&attempt, |_, _| "0".into())).await;
    assert_eq!((late.status, late.location.as_str()), (StatusCode::SEE_OTHER, path.as_str()));
    assert_eq!(school.attempts("p-07").await, first);
    let deliveries = school.app.storage.deliveries_at(&school.placement.id).await.unwrap();
    assert_eq!(deliveries.len(), 1);
    assert_eq!(deliveries[0].state, DeliveryState::Waiting);
}

#[actix_web::test]
async fn attempts_are_limited_and_each_has_new_questions() {
    let school = School::open(TWO_QUESTIONS_TWO_ATTEMPTS).await;
    let pupil = school.pupil("p-07").await;
    let mut seen = Vec::new();
    for _ in 0..2 {
        let (path, attempt) = pupil.begin("p-07").await;
        seen.extend(school.questions(&attempt).into_iter().map(|item| item.id.clone()));
        pupil.post_form(&format!("{path}/submit"), &school.fields(&attempt, right)).await;
    }
    let different: BTreeSet<_> = seen.iter().collect();
    assert_eq!(different.len(), 4, "{seen:?}");
    let refused = pupil.post_form(&pupil.start, &[]).await;
    assert_eq!(refused.status, StatusCode::CONFLICT);
    assert!(refused.body.contains("All attempts are used"), "{}", refused.body);
    assert_eq!(school.attempts("p-07").await.len(), 2);
    let start = pupil.get(&pupil.start).await.body;
    assert!(start.contains("2 of 2 used") && !start.contains("<form"), "{start}");
}

#[actix_web::test]
async fn an_open_attempt_is_continued_not_doubled() {
    let school = School::open(TWO_QUESTIONS_TWO_ATTEMPTS).await;
    let pupil = school.pupil("p-07").await;
    let (first, _) = pupil.begin("p-07").await;
    let (second, _) = pupil.begin("p-07").await;
    assert_eq!(first, second);
}

#[actix_web::test]
async fn an_attempt_is_its_owners_alone() {
    let school = School::open(TWO_QUESTIONS_TWO_ATTEMPTS).await;
    let owner = school.pupil("p-07").await;
    let (path, attempt) = owner.begin("p-07").await;
    let other = school.pupil("p-08").await;
    assert_eq!(other.get(&path).await.status, StatusCode::NOT_FOUND);
    for button in ["save", "submit"] {
        let answer = other.post_form(&format!("{path}/{button}"), &school.fields(&attempt, right)).await;
        assert_eq!(answer.status, StatusCode::NOT_FOUND, "{button}");
    }
    assert_eq!(school.teacher().await.get(&path).await.status, StatusCode::FORBIDDEN);
    assert_eq!(school.stranger().get(&path).await.status, StatusCode::UNAUTHORIZED);
    assert_eq!(school.attempts("p-07").await, [attempt]);
}

#[actix_web::test]
async fn a_form_without_the_sessions_token_does_nothing() {
    let school = School::open(TWO_QUESTIONS_TWO_ATTEMPTS).await;
    let pupil = school.pupil("p-07").await;
    assert_eq!(pupil.post(&pupil.start, &[]).await.status, StatusCode::FORBIDDEN);
    assert!(school.attempts("p-07").await.is_empty());
    let (path, attempt) = pupil.begin("p-07").await;
    let mut fields = school.fields(&attempt, right);
    fields.push(("csrf".into(), "another".into()));
    for button in ["save", "submit"] {
        assert_eq!(pupil.post(&format!("{path}/{button}"), &fields).await.status, StatusCode::FORBIDDEN);
    }
    assert_eq!(school.attempts("p-07").await, [attempt]);
}

#[actix_web::test]
async fn a_preview_sends_no_grade() {
    let school = School::open(TWO_QUESTIONS_TWO_ATTEMPTS).await;
    let placement = school.placement.id.clone();
    let preview = school.browser("preview", SessionPurpose::Quiz { placement, preview: true }).await;
    let (path, attempt) = preview.begin("preview").await;
    preview.post_form(&format!("{path}/submit"), &school.fields(&attempt, right)).await;
    assert!(preview.get(&path).await.body.contains("This is a preview: nothing goes to the gradebook."));
    assert!(school.app.storage.deliveries_at(&school.placement.id).await.unwrap().is_empty());
}

#[actix_web::test]
async fn pages_load_the_style_sheet_and_at_most_our_own_script() {
    let school = School::open(TWO_QUESTIONS_TWO_ATTEMPTS).await;
    let pupil = school.pupil("p-07").await;
    let start = pupil.get(&pupil.start).await;
    assert!(start.policy.starts_with("default-src 'none'; style-src 'self';"), "{}", start.policy);
    assert!(!start.policy.contains("script-src") && !start.body.contains("<script"), "{}", start.policy);
    let (path, _) = pupil.begin("p-07").await;
    let page = pupil.get(&path).await;
    assert!(page.policy.contains("script-src 'self'; connect-src 'self'"), "{}", page.policy);
    assert_eq!(page.body.matches("<script").count(), 1);
    for file in [crate::pages::stylesheet_url(), crate::pages::quiz::script_url()] {
        assert!(page.body.contains(file) && pupil.get(file).await.status.is_success(), "{file}");
    }
}
