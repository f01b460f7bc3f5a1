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
    assert!(
        result.contains("<svg class=\"board\"") && result.contains("is carried to the"),
        "working: {result}"
    );
    assert!(result.contains("Worked from the earlier answer that was given"), "own working: {result}");
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
            for secret in [&*item.receipt, &*item.id, &*item.family] {
                assert!(!page.contains(secret), "{secret}");
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

/// A page without what only voices say, and without the marks around what they leave out.
fn seen(page: &str) -> String {
    let mut parts = page.split("<span class=\"spoken\">");
    let first = parts.next().unwrap_or_default().to_owned();
    let rest = parts.map(|part| part.split_once("</span>").unwrap().1);
    let shown = [first.as_str()].into_iter().chain(rest).collect::<String>();
    let shown = shown.replace("<span aria-hidden=\"true\">", "").replace("</span>", "");
    shown.replace('\u{a0}', " ")
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

/// The value of a hidden field.
fn hidden(page: &str, name: &str) -> String {
    let start =
        page.split(&format!("name=\"{name}\" value=\"")).nth(1).unwrap_or_else(|| panic!("{name}: {page}"));
    start.split('"').next().unwrap().to_owned()
}

/// What a page of an open attempt posts beside answers.
fn of_page(page: &str) -> Vec<(String, String)> {
    ["page", "revision"].map(|name| (name.to_owned(), hidden(page, name))).into()
}

#[actix_web::test]
async fn one_question_at_a_time_goes_on_and_back_and_ends_on_what_is_empty() {
    let school = School::open(Placed { layout: Layout::One, ..TWO_QUESTIONS_TWO_ATTEMPTS }).await;
    let pupil = school.pupil("p-07").await;
    let (path, attempt) = pupil.begin("p-07").await;
    let save = format!("{path}/save");
    let first = pupil.get(&path).await.body;
    assert!(first.contains("Question 1 of 2") && !first.contains("name=\"q2."), "{first}");
    assert!(!first.contains("value=\"1\" class=\"quiet\">Back"), "there is nothing before: {first}");

    let all = school.fields(&attempt, right);
    let of = |number: &str| {
        let mine = all.iter().filter(move |(name, _)| name.starts_with(number));
        mine.cloned().collect::<Vec<_>>()
    };
    let mut fields = [of_page(&first), of("q1."), vec![("here".into(), "1".into())]].concat();
    fields.push(("go".into(), "2".into()));
    let on = pupil.post_form(&save, &fields).await;
    assert_eq!((on.status, on.location), (StatusCode::SEE_OTHER, format!("{path}?question=2")));
    let second = pupil.get(&format!("{path}?question=2")).await.body;
    assert!(second.contains("Question 2 of 2") && second.contains("Check and hand in"), "{second}");

    let check = pupil.get(&format!("{path}?question=check")).await.body;
    assert!(check.contains("still empty") && check.contains("?question=2#q2-"), "{check}");
    assert!(check.contains("Hand in anyway"), "{check}");
    let stopped = pupil.post_form(&format!("{path}/submit"), &of_page(&check)).await;
    assert_eq!(stopped.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(stopped.body.contains("Not handed in yet"), "{}", stopped.body);

    // Without a word in the address, the first question with something to do is shown.
    assert!(pupil.get(&path).await.body.contains("Question 2 of 2"));
    let fields = [of_page(&second), of("q2."), vec![("go".into(), "check".into())]].concat();
    pupil.post_form(&save, &fields).await;
    let check = pupil.get(&format!("{path}?question=check")).await.body;
    assert!(check.contains("Every question has an answer"), "{check}");
    pupil.post_form(&format!("{path}/submit"), &of_page(&check)).await;
    let closed = school.attempts("p-07").await.remove(0).result.unwrap();
    assert_eq!(closed.points, closed.maximum, "answers of both pages count");
}

#[actix_web::test]
async fn an_address_of_a_save_leads_nowhere_else() {
    let school = School::open(Placed { layout: Layout::One, ..TWO_QUESTIONS_TWO_ATTEMPTS }).await;
    let pupil = school.pupil("p-07").await;
    let (path, _) = pupil.begin("p-07").await;
    for go in ["//evil.example", "2&saved=yes", "\r\nx", "../.."] {
        let saved = pupil.post_form(&format!("{path}/save"), &[("go".into(), go.into())]).await;
        assert_eq!(saved.location, format!("{path}?question=1&saved=yes"), "{go:?}");
    }
    for question in ["0", "3", "-1", "99999999999999999999", "x", ""] {
        let page = pupil.get(&format!("{path}?question={question}")).await.body;
        assert!(page.contains("Question 1 of 2"), "{question}: {page}");
    }
}

#[actix_web::test]
async fn the_script_saves_single_fields_and_learns_of_newer_answers() {
    let school = School::open(TWO_QUESTIONS_TWO_ATTEMPTS).await;
    let pupil = school.pupil("p-07").await;
    let (path, attempt) = pupil.begin("p-07").await;
    let (older, newer) = (pupil.get(&path).await.body, pupil.get(&path).await.body);
    let (name, _) = school.fields(&attempt, right).remove(0);
    let fields = |page: &str, text: &str| [of_page(page), vec![(name.clone(), text.to_owned())]].concat();

    let first = pupil.save_by_script(&path, &fields(&newer, "3.4")).await;
    assert_eq!(first.body, r#"{"revision":1,"newer":{},"too_long":[]}"#);
    let late = pupil.save_by_script(&path, &fields(&older, "3.1")).await;
    assert_eq!(late.body, format!(r#"{{"revision":1,"newer":{{"{name}":"3.4"}},"too_long":[]}}"#));
    let long = pupil.save_by_script(&path, &fields(&newer, &"1".repeat(201))).await;
    assert_eq!(long.body, format!(r#"{{"revision":1,"newer":{{}},"too_long":["{name}"]}}"#));
    let again = pupil.save_by_script(&path, &fields(&newer, "3.45")).await;
    assert_eq!(again.body, r#"{"revision":2,"newer":{},"too_long":[]}"#);

    // The form of the older page is refused with a sentence that has both answers.
    let refused = pupil.post_form(&format!("{path}/submit"), &fields(&older, "3.1")).await;
    assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY);
    for expected in
        ["The newer answer was kept", "You had written \u{201c}3.1\u{201d} here.", "value=\"3.45\""]
    {
        assert!(refused.body.contains(expected), "{expected}: {}", refused.body);
    }
    // That page knows the newer answer, so it may change it.
    pupil.post_form(&format!("{path}/save"), &fields(&refused.body, "3.1")).await;
    let stored = school.attempts("p-07").await.remove(0).responses;
    assert_eq!(stored.values().flat_map(BTreeMap::values).collect::<Vec<_>>(), ["3.1"]);

    let all = school.fields(&attempt, right);
    let done = [of_page(&pupil.get(&path).await.body), all].concat();
    assert_eq!(pupil.post_form(&format!("{path}/submit"), &done).await.status, StatusCode::SEE_OTHER);
    let closed = pupil.save_by_script(&path, &fields(&newer, "9")).await;
    assert_eq!((closed.status, closed.body.as_str()), (StatusCode::CONFLICT, r#"{"closed":true}"#));
}

#[actix_web::test]
async fn pages_speak_the_language_of_the_questions() {
    let school = School::open_told_in("es-US", TWO_QUESTIONS_TWO_ATTEMPTS).await;
    let pupil = school.pupil("p-07").await;
    let start = pupil.get(&pupil.start).await.body;
    let (path, attempt) = pupil.begin("p-07").await;
    let page = pupil.get(&path).await.body;
    let asked = pupil.post_form(&format!("{path}/submit"), &of_page(&page)).await.body;
    let done = [of_page(&asked), school.fields(&attempt, right)].concat();
    pupil.post_form(&format!("{path}/submit"), &done).await;
    let result = pupil.get(&path).await.body;
    for (page, expected) in [
        (&start, ["<html lang=\"es-US\">", "0 de 2 usados", "Empezar"]),
        (&page, ["Intento 1 de 2", "Pregunta 1", "Entregar"]),
        (&asked, ["Todavía no está entregado.", "siguen vacías", "Entregar así"]),
        (&result, ["tu resultado", "Tu mejor resultado: ", "Intentar otra vez con números nuevos"]),
    ] {
        for text in expected {
            assert!(page.contains(text), "{text}: {page}");
        }
    }
    for english in ["Attempt", "Hand in", "Save", "Saved", "choose", "Your answers"] {
        assert!(!page.contains(english), "{english}: {page}");
    }
}

#[actix_web::test]
async fn after_the_last_attempt_what_was_wrong_is_practiced_and_never_graded() {
    let school = School::open(Placed { attempts: 1, ..TWO_QUESTIONS_TWO_ATTEMPTS }).await;
    let pupil = school.pupil("p-07").await;
    let practice = format!("{}/practice", pupil.start);
    assert_eq!(pupil.get(&practice).await.location, pupil.start, "there is nothing to practice yet");
    let (path, attempt) = pupil.begin("p-07").await;
    assert_eq!(pupil.get(&practice).await.location, pupil.start, "an attempt is open");
    let wrong = school.questions(&attempt)[0];
    let fields = school
        .fields(&attempt, |item, step| if item.id == wrong.id { "0.001".into() } else { right(item, step) });
    pupil.post_form(&format!("{path}/submit"), &fields).await;
    let result = pupil.get(&path).await.body;
    assert!(result.contains(&format!("{practice}?round=1")), "{result}");

    let delivered = school.app.storage.deliveries_at(&school.placement.id).await.unwrap();
    let mut stories = BTreeSet::new();
    for round in 1..=3 {
        let address = format!("{practice}?round={round}");
        let page = seen(&pupil.get(&address).await.body);
        let shown: Vec<&Item> = school.pool.items().filter(|item| page.contains(&item.stem)).collect();
        let [item] = shown[..] else { panic!("{} questions: {page}", shown.len()) };
        assert!(item.family == wrong.family && item.id != wrong.id, "other numbers of the same kind");
        stories.insert(item.stem.clone());
        for secret in [&*item.receipt, &*item.id, &*item.family, &*attempt.seed] {
            assert!(!page.contains(secret), "{secret}");
        }
        let answers: Vec<_> =
            item.right_responses().into_iter().map(|(step, text)| (format!("q1.{step}"), text)).collect();
        let marked = pupil.post_form(&address, &answers).await.body;
        let all = item.max_points();
        assert!(marked.contains(&format!("Practice: {all} of {all}")), "{marked}");
        assert!(marked.contains(&format!("{practice}?round={}", round + 1)), "{marked}");
    }
    assert_eq!(stories.len(), 3, "rounds differ while there are numbers that the pupil has not seen");
    assert_eq!(school.attempts("p-07").await.len(), 1);
    assert_eq!(school.app.storage.deliveries_at(&school.placement.id).await.unwrap(), delivered);
}

/// RFC 9110, 12.5.3: a coding goes out only to those who take it.
#[actix_web::test]
async fn style_sheet_and_script_go_out_packed_to_those_who_take_that() {
    use std::io::Read as _;
    let school = School::open(TWO_QUESTIONS_TWO_ATTEMPTS).await;
    let app = actix_web::App::new().app_data(school.app.clone()).configure(routes::configure);
    let service = init_service(app).await;
    for (file, plain) in [
        (crate::pages::stylesheet_url(), crate::pages::STYLESHEET),
        (crate::pages::quiz::script_url(), crate::pages::quiz::SCRIPT),
    ] {
        for (accepted, packed) in
            [("gzip, br", true), ("br", false), ("gzip;q=0", false), ("identity", false)]
        {
            let request = TestRequest::get().uri(file).insert_header(("Accept-Encoding", accepted));
            let answer = call_service(&service, request.to_request()).await;
            assert_eq!(answer.headers().contains_key("Content-Encoding"), packed, "{file}: {accepted}");
            assert_eq!(answer.headers().get("Vary").unwrap(), "Accept-Encoding");
            let body = read_body(answer).await;
            let mut text = String::new();
            if packed {
                flate2::read::GzDecoder::new(&body[..]).read_to_string(&mut text).unwrap();
                assert!(body.len() * 2 < plain.len(), "{} of {}", body.len(), plain.len());
            } else {
                text = String::from_utf8(body.to_vec()).unwrap();
            }
            assert!(text == plain, "{file}: {accepted}");
        }
    }
}
