//! The programming interface.

use actix_web::http::header::AUTHORIZATION;
use qbank::marking::Mark;
use qbank::misconceptions::JOINT;
use qbank::question::Prediction;
use serde_json::{Value, json};

use super::*;
use crate::clock::plus_ms;
use crate::judgement::Judgement;
use crate::storage::{ApiRole, ApiToken, DeliveryOutcome, Drift, GradebookMark, PersonName, Room};

impl School {
    async fn token(&self, role: ApiRole) -> String {
        let (token, secret) = ApiToken::new(role, "for a test", self.app.clock.now(), None);
        self.app.storage.add_api_token(token, &change()).await.unwrap();
        secret
    }

    async fn call(&self, request: TestRequest, token: &str) -> (StatusCode, Value) {
        let request = request.insert_header((AUTHORIZATION, format!("Bearer {token}")));
        let answer = self.stranger().send(request).await;
        let body = serde_json::from_str(&answer.body).unwrap_or_else(|_| panic!("no JSON: {}", answer.body));
        (answer.status, body)
    }

    async fn read(&self, path: &str, token: &str) -> (StatusCode, Value) {
        self.call(TestRequest::get().uri(path), token).await
    }

    async fn load(&self, pool: &str, token: &str) -> (StatusCode, Value) {
        self.call(TestRequest::post().uri("/api/v1/pools").set_payload(pool.to_owned()), token).await
    }
}

async fn school() -> School {
    School::open(TWO_QUESTIONS_TWO_ATTEMPTS).await
}

fn other_pool() -> Pool {
    let plan = PLAN.replace("\"river-day\"", "\"bicycle-day\"").replace("river-day-1", "bicycle-day-1");
    Plan::from_toml(&plan).unwrap().make(&qbank::bank::families().unwrap(), None).unwrap()
}

#[actix_web::test]
async fn a_call_needs_a_known_token() {
    let school = school().await;
    for token in ["", "unknown"] {
        let (status, failure) = school.read("/api/v1/pools", token).await;
        assert_eq!(status, StatusCode::UNAUTHORIZED);
        assert_eq!(failure["code"], "not_authentic");
        assert_eq!(failure["status"], 401);
    }
    let (status, failure) = school.read("/api/v1/nothing", "unknown").await;
    assert_eq!((status, &failure["code"]), (StatusCode::NOT_FOUND, &json!("no_such_address")));
}

/// Unknown, ended and taken back: nothing in the answer tells them apart.
#[actix_web::test]
async fn tokens_that_are_not_valid_are_answered_alike() {
    let school = school().await;
    let now = school.app.clock.now();
    let storage = &school.app.storage;
    let (ended, ended_secret) = ApiToken::new(ApiRole::Coordinator, "", now, Some(now));
    let (revoked, revoked_secret) = ApiToken::new(ApiRole::Coordinator, "", now, None);
    let (valid, valid_secret) = ApiToken::new(ApiRole::Coordinator, "", now, Some(plus_ms(now, 1)));
    for token in [&ended, &revoked, &valid] {
        storage.add_api_token(token.clone(), &change()).await.unwrap();
    }
    assert_eq!(school.read("/api/v1/pools", &revoked_secret).await.0, StatusCode::OK);
    assert!(storage.revoke_api_token(&revoked.id, &change()).await.unwrap());
    let unknown = school.read("/api/v1/pools", &crate::entropy::secret()).await;
    assert_eq!(unknown.0, StatusCode::UNAUTHORIZED);
    assert_eq!(school.read("/api/v1/pools", &ended_secret).await, unknown);
    assert_eq!(school.read("/api/v1/pools", &revoked_secret).await, unknown);
    assert_eq!(school.read("/api/v1/pools", &valid_secret).await.0, StatusCode::OK);
    let used: Vec<_> =
        storage.api_tokens().await.unwrap().into_iter().map(|t| (t.id, t.last_used_on)).collect();
    let day = Some("2026-03-02".parse().unwrap());
    assert!(used.contains(&(valid.id, day)) && used.contains(&(ended.id, None)), "{used:?}");
}

#[actix_web::test]
async fn the_trail_is_read_in_parts_by_those_who_may() {
    let school = school().await;
    let token = school.token(ApiRole::Auditor).await;
    let (status, trail) = school.read("/api/v1/audit?limit=1", &token).await;
    assert_eq!(status, StatusCode::OK, "{trail}");
    assert_eq!(trail["entries"][0]["action"], "token_made");
    let next = trail["next"].as_i64().unwrap();
    let path = format!("/api/v1/audit?before={next}&platform={}", school.registration.id);
    let (_, older) = school.read(&path, &token).await;
    let actions: Vec<&str> =
        older["entries"].as_array().unwrap().iter().map(|entry| entry["action"].as_str().unwrap()).collect();
    assert_eq!(actions, ["key_made", "registration_added"]);
    assert_eq!(older["next"], Value::Null);
    for wrong in ["limit=0", "limit=1001", "before=x"] {
        let (status, failure) = school.read(&format!("/api/v1/audit?{wrong}"), &token).await;
        assert_eq!((status, &failure["code"]), (StatusCode::BAD_REQUEST, &json!("unreadable_query")));
    }
    let teacher = school.token(ApiRole::Teacher).await;
    for path in ["/api/v1/audit", "/api/v1/keys", "/api/v1/platforms"] {
        assert_eq!(school.read(path, &teacher).await.0, StatusCode::FORBIDDEN, "{path}");
    }
}

#[actix_web::test]
async fn a_coordinator_rotates_keys_and_approves_deployments() {
    let school = school().await;
    let token = school.token(ApiRole::Coordinator).await;
    let platform = school.registration.id;
    let post = |path: String, body: Value| TestRequest::post().uri(&path).set_json(&body);
    let rotate = || post("/api/v1/keys/rotate".into(), json!({ "platform": platform }));
    let (status, new) = school.call(rotate(), &token).await;
    assert_eq!(status, StatusCode::CREATED, "{new}");
    let (_, keys) = school.read("/api/v1/keys", &token).await;
    let mut stages: Vec<(&str, bool)> = keys
        .as_array()
        .unwrap()
        .iter()
        .map(|key| (key["stage"].as_str().unwrap(), key["kid"] == new["kid"]))
        .collect();
    stages.sort_unstable();
    assert_eq!(stages, [("signing", false), ("waiting", true)]);
    let (status, failure) = school.call(rotate(), &token).await;
    assert_eq!((status, &failure["code"]), (StatusCode::CONFLICT, &json!("rotation_under_way")));
    let retire = |kid: &str| post(format!("/api/v1/keys/{kid}/retire"), json!({ "now": true }));
    let (status, failure) = school.call(retire(new["kid"].as_str().unwrap()), &token).await;
    assert_eq!((status, &failure["code"]), (StatusCode::CONFLICT, &json!("key_needed")));
    let (status, failure) = school.call(retire("unknown"), &token).await;
    assert_eq!((status, &failure["code"]), (StatusCode::NOT_FOUND, &json!("no_key")));

    let approve =
        |id: i64| post(format!("/api/v1/platforms/{id}/deployments"), json!({ "deployment": "new-one" }));
    let (status, failure) = school.call(approve(99), &token).await;
    assert_eq!((status, &failure["code"]), (StatusCode::NOT_FOUND, &json!("no_platform")));
    let (status, failure) = school.call(approve(platform.0), &token).await;
    assert_eq!((status, &failure["code"]), (StatusCode::NOT_FOUND, &json!("not_pending")));
    school.app.storage.hold_deployment(platform, &DeploymentId::from("new-one"), &change()).await.unwrap();
    let (_, platforms) = school.read("/api/v1/platforms", &token).await;
    assert_eq!(platforms[0]["pending"][0]["deployment"], "new-one");
    let request = approve(platform.0).insert_header((AUTHORIZATION, format!("Bearer {token}")));
    assert_eq!(school.stranger().send(request).await.status, StatusCode::NO_CONTENT);
    let (_, platforms) = school.read("/api/v1/platforms", &token).await;
    assert_eq!(platforms[0]["deployments"], json!(["1", "new-one"]));
    let (_, trail) = school.read("/api/v1/audit?limit=1", &token).await;
    assert_eq!(trail["entries"][0]["action"], "deployment_approved");
    assert!(trail["entries"][0]["by"].as_str().unwrap().contains("of a coordinator"), "{trail}");
}

#[actix_web::test]
async fn a_coordinator_loads_a_pool_and_sees_all_of_it() {
    let school = school().await;
    let token = school.token(ApiRole::Coordinator).await;
    let pool = other_pool();
    let (status, loaded) = school.load(&pool.to_json(), &token).await;
    assert_eq!(status, StatusCode::CREATED, "{loaded}");
    assert_eq!(loaded["questions"], 10);
    assert_eq!(loaded["receipt"], json!(pool.receipt()));
    let (_, list) = school.read("/api/v1/pools", &token).await;
    let ids: Vec<&str> = list.as_array().unwrap().iter().map(|entry| entry["id"].as_str().unwrap()).collect();
    assert_eq!(ids.len(), 2);
    assert!(ids.contains(&"bicycle-day") && ids.contains(&"river-day"), "{ids:?}");
    let (_, shown) = school.read("/api/v1/pools/bicycle-day", &token).await;
    assert_eq!(shown, serde_json::from_str::<Value>(&pool.to_json()).unwrap());
}

#[actix_web::test]
async fn other_roles_load_nothing_and_see_no_answers() {
    let school = school().await;
    for role in [ApiRole::Teacher, ApiRole::Auditor] {
        let token = school.token(role).await;
        let (status, failure) = school.load(&other_pool().to_json(), &token).await;
        assert_eq!((status, &failure["code"]), (StatusCode::FORBIDDEN, &json!("not_allowed")));
        let (status, outline) = school.read("/api/v1/pools/river-day", &token).await;
        assert_eq!(status, StatusCode::OK);
        assert_eq!(outline["questions"].as_array().unwrap().len(), 10);
        let text = outline.to_string();
        for absent in ["answer", "expression", "predicted", "solution", "receipt", "seed"] {
            assert!(!text.contains(&format!("\"{absent}\"")), "{absent}");
        }
    }
}

#[actix_web::test]
async fn a_pool_with_a_wrong_answer_is_refused_and_the_question_named() {
    let school = school().await;
    let token = school.token(ApiRole::Coordinator).await;
    let pool = other_pool();
    let item = pool.items().next().unwrap();
    let (id, answer) = (&item.id, &item.steps[0].answer);
    let forged = pool.to_json().replacen(&format!("\"answer\": \"{answer}\""), "\"answer\": \"0.01\"", 1);
    assert_ne!(forged, pool.to_json());
    let (status, failure) = school.load(&forged, &token).await;
    assert_eq!((status, &failure["code"]), (StatusCode::UNPROCESSABLE_ENTITY, &json!("pool_not_proven")));
    assert!(failure["message"].as_str().unwrap().contains(id.as_str()), "{failure}");
    for broken in ["", "{", "{\"id\": 7}"] {
        assert_eq!(school.load(broken, &token).await.0, StatusCode::UNPROCESSABLE_ENTITY, "{broken:?}");
    }
}

#[actix_web::test]
async fn a_pool_in_use_keeps_its_questions() {
    let school = school().await;
    let token = school.token(ApiRole::Coordinator).await;
    assert_eq!(school.load(&school.pool.to_json(), &token).await.0, StatusCode::CREATED, "the same content");
    let changed = PLAN.replace("river-day-1", "river-day-2");
    let changed = Plan::from_toml(&changed).unwrap().make(&qbank::bank::families().unwrap(), None).unwrap();
    let (status, failure) = school.load(&changed.to_json(), &token).await;
    assert_eq!((status, &failure["code"]), (StatusCode::CONFLICT, &json!("pool_in_use")));
}

#[actix_web::test]
async fn marks_are_read_as_records_best_attempt_first_or_all() {
    let school = school().await;
    let pupil = school.pupil("p-07").await;
    for answers in ["0", "right"] {
        let (path, attempt) = pupil.begin("p-07").await;
        let fields = school.fields(&attempt, |item, step| match answers {
            "right" => right(item, step),
            wrong => wrong.into(),
        });
        pupil.post_form(&format!("{path}/submit"), &fields).await;
    }
    let token = school.token(ApiRole::Auditor).await;
    let path = format!("/api/v1/placements/{}/marks", school.placement.id);
    let (status, best) = school.read(&path, &token).await;
    assert_eq!(status, StatusCode::OK);
    let best = best.as_array().unwrap();
    assert_eq!(best.len(), 2);
    assert!(best.iter().all(|mark| mark["points"] == mark["max"] && mark["pupil"] == "p-07"), "{best:?}");
    let (_, all) = school.read(&format!("{path}?attempts=all"), &token).await;
    assert_eq!(all.as_array().unwrap().len(), 4);
    assert_eq!(school.read(&format!("{path}?attempts=some"), &token).await.0, StatusCode::BAD_REQUEST);
    assert_eq!(school.read("/api/v1/placements/none/marks", &token).await.0, StatusCode::NOT_FOUND);
    let (_, placements) = school.read("/api/v1/placements", &token).await;
    assert_eq!(placements[0]["id"], json!(school.placement.id));
}

#[actix_web::test]
async fn what_answers_together_are_consistent_with_is_read_by_pupil() {
    const HELD: &str = "add-two-whole-numbers";
    let school = school().await;
    // One always answers as the misconception leads to, the other once.
    for (user, times) in [("p-07", u32::MAX), ("p-08", 1)] {
        let pupil = school.pupil(user).await;
        let left = std::cell::Cell::new(times);
        for _ in 0..2 {
            let (path, attempt) = pupil.begin(user).await;
            let fields = school.fields(&attempt, |item, step| {
                let asked = item.steps.iter().find(|asked| asked.id == *step).unwrap();
                let leads = |wrong: &&Prediction| wrong.misconception.split(JOINT).any(|id| id == HELD);
                let held = asked.predicted.iter().find(leads);
                let held = held.filter(|_| left.replace(left.get().saturating_sub(1)) > 0);
                held.map_or_else(|| right(item, step), |held| held.answer.to_string())
            });
            pupil.post_form(&format!("{path}/submit"), &fields).await;
        }
    }
    let token = school.token(ApiRole::Auditor).await;
    let path = format!("/api/v1/placements/{}/diagnoses", school.placement.id);
    let (status, found) = school.read(&path, &token).await;
    assert_eq!(status, StatusCode::OK, "{found}");
    // Which questions are drawn is chance, and so is how many of them show it: what the marks themselves bear is told.
    let marks = format!("/api/v1/placements/{}/marks?attempts=all", school.placement.id);
    let (_, marks) = school.read(&marks, &token).await;
    let mut judgement = Judgement::of(&school.pool);
    serde_json::from_value::<Vec<Mark>>(marks).unwrap().iter().for_each(|mark| judgement.see(mark));
    assert_eq!(found, serde_json::to_value(judgement.diagnoses()).unwrap());
    let found = found.as_array().unwrap();
    for (query, expected) in [
        ("?pupil=p-07&count=3", json!(judgement.next_for("p-07", 3))),
        ("?count=20", json!(judgement.next_for_class(20))),
        ("", json!(judgement.next_for_class(2))),
    ] {
        let path = format!("/api/v1/placements/{}/next{query}", school.placement.id);
        assert_eq!(school.read(&path, &token).await, (StatusCode::OK, expected));
    }
    let path = format!("/api/v1/placements/{}/next?count=0", school.placement.id);
    let (status, failure) = school.read(&path, &token).await;
    assert_eq!((status, &failure["code"]), (StatusCode::BAD_REQUEST, &json!("unreadable_query")));
    assert!(found.iter().all(|one| one["pupil"] == "p-07"), "one answer of p-08 may be a slip: {found:?}");
    assert_eq!(school.read(&path, "").await.0, StatusCode::UNAUTHORIZED);
    let (status, failure) = school.read("/api/v1/placements/none/diagnoses", &token).await;
    assert_eq!((status, &failure["code"]), (StatusCode::NOT_FOUND, &json!("no_placement")));
}

#[actix_web::test]
async fn responses_are_scored_without_an_attempt() {
    let school = school().await;
    let item = school.pool.items().next().unwrap();
    let request = json!({
        "pool": "river-day", "question": item.id, "pupil": "p-07", "responses": item.right_responses(),
    });
    let post = |body: &Value| TestRequest::post().uri("/api/v1/score").set_json(body);
    let teacher = school.token(ApiRole::Teacher).await;
    let (status, mark) = school.call(post(&request), &teacher).await;
    assert_eq!(status, StatusCode::OK, "{mark}");
    assert_eq!(mark["points"], json!(item.max_points()));
    let (status, failure) = school.call(post(&json!({"pool": "river-day"})), &teacher).await;
    assert_eq!((status, &failure["code"]), (StatusCode::BAD_REQUEST, &json!("unreadable_body")));
    let mut strict = request.clone();
    strict["policy"] = json!({"follow_through": false, "form_credit": "none"});
    assert_eq!(school.call(post(&strict), &teacher).await.1["points"], json!(item.max_points()));
    strict["responses"] = json!(one_slip(item));
    let policy = Policy { follow_through: false, form_credit: Some(qbank::accept::Credit::None) };
    let expected = qbank::marking::mark_with(item, "p-07", &one_slip(item), policy);
    assert_eq!(school.call(post(&strict), &teacher).await.1, json!(expected));
    strict["policy"] = json!({"form_credit": "half"});
    assert_eq!(school.call(post(&strict), &teacher).await.0, StatusCode::BAD_REQUEST);
    let auditor = school.token(ApiRole::Auditor).await;
    assert_eq!(school.call(post(&request), &auditor).await.0, StatusCode::FORBIDDEN);
}

#[actix_web::test]
async fn the_description_names_every_address() {
    let school = school().await;
    let (status, document) = school.read("/api/openapi.json", "").await;
    assert_eq!(status, StatusCode::OK);
    for (path, method) in [
        ("/api/v1/pools", "get"),
        ("/api/v1/pools", "post"),
        ("/api/v1/pools/{pool}", "get"),
        ("/api/v1/placements", "get"),
        ("/api/v1/placements/{placement}/marks", "get"),
        ("/api/v1/placements/{placement}/diagnoses", "get"),
        ("/api/v1/placements/{placement}/next", "get"),
        ("/api/v1/placements/{placement}/pupils", "get"),
        ("/api/v1/held", "post"),
        ("/api/v1/purge", "post"),
        ("/api/v1/score", "post"),
    ] {
        assert!(document["paths"][path][method].is_object(), "{method} {path}");
    }
    assert!(document["components"]["schemas"]["MarkRecord"].is_object());
    assert!(document["components"]["securitySchemes"]["token"].is_object());
}

/// Names are seen by those who teach or coordinate; persons are named in bodies only, and the trail forgets them.
#[actix_web::test]
async fn what_is_held_on_a_pupil_is_given_out_and_deleted_by_coordinators() {
    let school = school().await;
    let pupil = school.pupil("p-07").await;
    let (path, attempt) = pupil.begin("p-07").await;
    pupil.post_form(&format!("{path}/submit"), &school.fields(&attempt, right)).await;
    let name = Some(PersonName("Ines Tannberg".into()));
    for (user, part) in [("p-07", Part::Pupil), ("p-08", Part::Pupil), ("preview", Part::Preview)] {
        school.launch(Member { name: name.clone(), ..member(user, part) }).await;
    }
    let pupils = format!("/api/v1/placements/{}/pupils", school.placement.id);
    for (role, named) in [(ApiRole::Auditor, false), (ApiRole::Teacher, true), (ApiRole::Coordinator, true)] {
        let (status, list) = school.read(&pupils, &school.token(role).await).await;
        assert_eq!((status, list.as_array().unwrap().len()), (StatusCode::OK, 2), "{list}");
        assert_eq!(
            (&list[0]["pupil"], &list[0]["attempts"], &list[0]["handed_in"]),
            (&json!("p-07"), &json!(1), &json!(1))
        );
        assert_eq!(list[1]["attempts"], 0);
        assert_eq!(list[0].get("name").is_some(), named, "{role}");
    }

    let issuer = "https://platform.example.org";
    let post = |path: &str, body: Value| TestRequest::post().uri(path).set_json(body);
    let person = json!({"issuer": issuer, "pupil": "p-07"});
    for path in ["/api/v1/held", "/api/v1/purge"] {
        let teacher = school.token(ApiRole::Teacher).await;
        assert_eq!(school.call(post(path, person.clone()), &teacher).await.0, StatusCode::FORBIDDEN);
    }
    let token = school.token(ApiRole::Coordinator).await;
    let (status, held) = school.call(post("/api/v1/held", person.clone()), &token).await;
    assert_eq!(status, StatusCode::OK, "{held}");
    let quiz = &held["quizzes"][0];
    assert_eq!(
        (&quiz["member"]["name"], &quiz["grade"]["state"]),
        (&json!("Ines Tannberg"), &json!("waiting"))
    );
    assert_eq!(quiz["attempts"][0]["marks"][0]["pupil"], "p-07");
    let told = held.to_string();
    for secret in [attempt.seed.as_str(), pupil.cookie.as_ref().unwrap().value(), &pupil.csrf().await] {
        assert!(!told.contains(secret), "{told}");
    }
    let (status, unknown) =
        school.call(post("/api/v1/held", json!({"issuer": "https://x.test", "pupil": "p-07"})), &token).await;
    assert_eq!((status, &unknown["code"]), (StatusCode::NOT_FOUND, &json!("no_platform")));

    let (status, refused) = school.call(post("/api/v1/purge", person.clone()), &token).await;
    assert_eq!((status, &refused["code"]), (StatusCode::CONFLICT, &json!("grades_waiting")));
    let forced = json!({"issuer": issuer, "pupil": "p-07", "force": true});
    let (status, purged) = school.call(post("/api/v1/purge", forced), &token).await;
    assert_eq!(
        (status, &purged["deleted"]["attempts"], &purged["unsent"]),
        (StatusCode::OK, &json!(1), &json!(1))
    );
    assert!(school.attempts("p-07").await.is_empty());
    assert_eq!(pupil.get(&pupil.start).await.status, StatusCode::UNAUTHORIZED, "the session is gone, too");
}

#[actix_web::test]
async fn deliveries_are_listed_in_parts_and_sent_again_settled_or_reset() {
    let school = school().await;
    for user in ["p-01", "p-02", "p-03"] {
        let pupil = school.pupil(user).await;
        let (path, attempt) = pupil.begin(user).await;
        pupil.post_form(&format!("{path}/submit"), &school.fields(&attempt, right)).await;
    }
    let storage = &school.app.storage;
    let now = school.app.clock.now();
    let room = Room { each: 10, except: [].into() };
    for grade in storage.lease_grades(now, plus_ms(now, 1000), &room).await.unwrap() {
        let found = GradebookMark { points: "7.50".parse().unwrap(), maximum: 10.into() };
        let outcome = match grade.user.as_str() {
            "p-01" => DeliveryOutcome::Parked { problem: "closed (403)".into() },
            "p-02" => DeliveryOutcome::Held { drift: Drift::Different, found },
            _ => DeliveryOutcome::Delivered,
        };
        storage.finish_grade(&grade, &outcome, now).await.unwrap();
    }
    let placement = school.placement.id.to_string();
    let (auditor, teacher) = (school.token(ApiRole::Auditor).await, school.token(ApiRole::Teacher).await);
    let (status, list) =
        school.read(&format!("/api/v1/deliveries?placement={placement}&limit=2"), &auditor).await;
    assert_eq!(status, StatusCode::OK, "{list}");
    let (parked, held) = (&list["deliveries"][0], &list["deliveries"][1]);
    for (field, expected) in
        [("pupil", "p-01"), ("message", "graded"), ("state", "parked"), ("problem", "closed (403)")]
    {
        assert_eq!(parked[field], expected, "{parked}");
    }
    assert_eq!((&parked["since"], &parked["tries"]), (&json!("2026-03-02T09:15:00Z"), &json!(1)));
    assert_eq!((&held["state"], &held["differs"]), (&json!("held"), &json!("different")));
    assert_eq!(held["in_gradebook"], json!({"points": "7.5", "max": "10"}));
    let next = list["next"].as_str().unwrap();
    let (_, rest) = school.read(&format!("/api/v1/deliveries?limit=2&after={next}"), &auditor).await;
    assert_eq!((&rest["deliveries"][0]["pupil"], &rest["next"]), (&json!("p-03"), &Value::Null));
    let (_, of_state) = school.read("/api/v1/deliveries?state=held", &auditor).await;
    assert_eq!(of_state["deliveries"].as_array().unwrap().len(), 1);
    for wrong in ["state=lost", "limit=0", "limit=1001", "after=x"] {
        let (status, failure) = school.read(&format!("/api/v1/deliveries?{wrong}"), &auditor).await;
        assert_eq!(
            (status, &failure["code"]),
            (StatusCode::BAD_REQUEST, &json!("unreadable_query")),
            "{wrong}"
        );
    }

    let post = async |path: &str, body: Value, token: &str| {
        school
            .call(TestRequest::post().uri(&format!("/api/v1/deliveries/{path}")).set_json(body), token)
            .await
    };
    let of = |pupil: &str| json!({"placement": placement, "pupil": pupil});
    let (status, failure) = post("send-again", of("p-01"), &auditor).await;
    assert_eq!((status, &failure["code"]), (StatusCode::FORBIDDEN, &json!("not_allowed")));
    let nowhere = json!({"placement": "none"});
    assert_eq!(post("send-again", nowhere, &teacher).await.0, StatusCode::NOT_FOUND);
    assert_eq!(post("send-again", of("p-02"), &teacher).await.1, json!({"sent_again": 0}));
    assert_eq!(
        post("send-again", json!({"placement": placement}), &teacher).await.1,
        json!({"sent_again": 1})
    );
    let settle = |pupil: &str| json!({"placement": placement, "pupil": pupil, "choice": "send_ours"});
    assert_eq!(post("settle", settle("p-03"), &teacher).await.1["code"], "nothing_held");
    let request = TestRequest::post().uri("/api/v1/deliveries/settle").set_json(settle("p-02"));
    let request = request.insert_header((AUTHORIZATION, format!("Bearer {teacher}")));
    assert_eq!(school.stranger().send(request).await.status, StatusCode::NO_CONTENT);
    assert_eq!(post("reset", of("p-03"), &teacher).await.1, json!({"attempts": 1}));
    let (_, compared) = post("compare", json!({"placement": placement}), &teacher).await;
    assert_eq!(compared["problem"], "the platform does not let us read its gradebook");
    let (_, list) = school.read("/api/v1/deliveries", &auditor).await;
    let states: Vec<_> = list["deliveries"].as_array().unwrap().iter().map(|one| &one["state"]).collect();
    assert_eq!(states, ["waiting"; 3], "{list}");
    assert_eq!(list["deliveries"][2]["message"], "reset");
}
