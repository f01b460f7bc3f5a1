//! Platforms that may launch the service, deployments that wait for approval, invitations, and signing keys.

use actix_web::{HttpResponse, web};
use jiff::Timestamp;
use url::Url;

use super::{DistrictSession, board, done, refused, shown};
use crate::app::App;
use crate::clock::plus_ms;
use crate::entropy;
use crate::handlers::answer::{self, PageError};
use crate::handlers::form::{Fields, Posted};
use crate::lti::keys::rotation::{self, OVERLAP_MS, Stage};
use crate::pages::board::{Act, Board, Cell, Field, Form, Section, Table};
use crate::pages::marked::Tone;
use crate::settings::Reach;
use crate::storage::{
    ClientId, DeploymentId, Fingerprint, Invitation, NewRegistration, Registration, RegistrationId,
};
use crate::texts::Texts;

/// How long an invitation can be used.
const INVITED_MS: i64 = 7 * 24 * 60 * 60 * 1000;
const PATH: &str = "/district/platforms";

/// GET: the platforms.
pub(crate) async fn list(session: DistrictSession, app: web::Data<App>) -> Result<HttpResponse, PageError> {
    shown(&page(&session, &app).await?)
}

async fn page(session: &DistrictSession, app: &App) -> Result<Board, PageError> {
    let texts = Texts::of_reader();
    let registrations = app.storage.registrations().await?;
    let sections = vec![
        registered(&registrations, texts),
        waiting(app, &registrations, texts).await?,
        invitations(app, texts).await?,
        keys(app, &registrations, texts).await?,
        adding(texts),
    ];
    Ok(board(session, PATH, texts.say("running-page-platforms"), sections))
}

fn columns(texts: &Texts, names: &[&str]) -> Vec<String> {
    names.iter().map(|name| texts.say(name)).collect()
}

fn registered(registrations: &[Registration], texts: &Texts) -> Section {
    let row = |known: &Registration| {
        let deployments: Vec<&str> = known.platform.deployments.iter().map(DeploymentId::as_str).collect();
        let remove = Act {
            action: format!("{PATH}/remove"),
            values: vec![("platform", known.id.0.to_string())],
            text: texts.say("running-remove"),
            label: texts.with("running-remove-label", &[("issuer", known.platform.issuer.as_str().into())]),
        };
        vec![
            Cell::Text(known.platform.issuer.clone()),
            Cell::Code(known.platform.client_id.to_string()),
            Cell::Text(deployments.join(", ")),
            Cell::Acts(vec![remove]),
        ]
    };
    let names =
        ["running-column-issuer", "running-column-client", "running-column-deployments", "running-column-do"];
    let rows = registrations.iter().map(row).collect();
    let table = Table::new(
        texts.say("running-registered"),
        columns(texts, &names),
        rows,
        texts.say("running-no-platform"),
    );
    Section::new("registered", texts.say("running-registered")).table(table)
}

async fn waiting(app: &App, registrations: &[Registration], texts: &Texts) -> Result<Section, PageError> {
    let zone = &app.settings.time_zone;
    let row = |waits: crate::storage::PendingDeployment| {
        let issuer = issuer(registrations, Some(waits.registration));
        let approve = Act {
            action: format!("{PATH}/approve"),
            values: vec![
                ("platform", waits.registration.0.to_string()),
                ("deployment", waits.deployment.to_string()),
            ],
            text: texts.say("running-approve"),
            label: texts.with("running-approve-label", &[("deployment", waits.deployment.as_str().into())]),
        };
        vec![
            Cell::Text(waits.deployment.to_string()),
            Cell::Text(issuer),
            Cell::Text(texts.date_time(waits.first_seen_at, zone)),
            Cell::Acts(vec![approve]),
        ]
    };
    let rows = app.storage.pending_deployments().await?.into_iter().map(row).collect();
    let names =
        ["running-column-deployment", "running-column-issuer", "running-column-since", "running-column-do"];
    let table = Table::new(
        texts.say("running-waiting"),
        columns(texts, &names),
        rows,
        texts.say("running-none-waiting"),
    );
    Ok(Section::new("waiting", texts.say("running-waiting"))
        .text(texts.say("running-waiting-about"))
        .table(table))
}

fn issuer(registrations: &[Registration], id: Option<RegistrationId>) -> String {
    let known = registrations.iter().find(|known| Some(known.id) == id);
    known.map_or_else(String::new, |known| known.platform.issuer.clone())
}

async fn invitations(app: &App, texts: &Texts) -> Result<Section, PageError> {
    let now = app.clock.now();
    let zone = &app.settings.time_zone;
    let row = |invitation: Invitation| {
        let (tone, state) = invitation_state(&invitation, now);
        let revoke = Act {
            action: format!("{PATH}/revoke-invitation"),
            values: vec![("id", invitation.id.clone())],
            text: texts.say("running-revoke"),
            label: texts.with("running-revoke-label", &[("name", invitation.id.as_str().into())]),
        };
        vec![
            Cell::Code(invitation.id),
            Cell::Text(invitation.note),
            Cell::State(tone, texts.say(state)),
            Cell::Text(texts.date_time(invitation.expires_at, zone)),
            Cell::Acts(if tone == Tone::Form { vec![revoke] } else { Vec::new() }),
        ]
    };
    let rows = app.storage.invitations().await?.into_iter().map(row).collect();
    let names = [
        "running-column-name",
        "running-column-for",
        "running-column-state",
        "running-column-ends",
        "running-column-do",
    ];
    let table = Table::new(
        texts.say("running-invitations"),
        columns(texts, &names),
        rows,
        texts.say("running-no-invitation"),
    );
    let form = Form::post(
        format!("{PATH}/invite"),
        texts.say("running-invite"),
        vec![Field::line("note", texts.say("running-invite-for"), "")],
    );
    Ok(Section::new("invitations", texts.say("running-invitations"))
        .text(texts.say("running-invitations-about"))
        .table(table)
        .form(form))
}

/// An open invitation is the only one that can still be taken back.
fn invitation_state(invitation: &Invitation, now: Timestamp) -> (Tone, &'static str) {
    if invitation.used_at.is_some() {
        (Tone::Right, "running-state-used")
    } else if invitation.revoked_at.is_some() {
        (Tone::Quiet, "running-state-revoked")
    } else if invitation.expires_at <= now {
        (Tone::Quiet, "running-state-ended")
    } else {
        (Tone::Form, "running-state-open")
    }
}

async fn keys(app: &App, registrations: &[Registration], texts: &Texts) -> Result<Section, PageError> {
    let (keys, now) = (app.storage.tool_keys().await?, app.clock.now());
    let row = |key: &crate::storage::ToolKey| {
        let stage = rotation::stage(key, &keys, now);
        let (tone, state) = match stage {
            Stage::Waiting => (Tone::Form, "running-key-waiting"),
            Stage::Signing => (Tone::Right, "running-key-signing"),
            Stage::Leaving => (Tone::Own, "running-key-leaving"),
            Stage::Retired => (Tone::Quiet, "running-key-retired"),
        };
        let rotate = key.registration.filter(|_| stage == Stage::Signing).map(|owner| Act {
            action: format!("{PATH}/rotate"),
            values: vec![("platform", owner.0.to_string())],
            text: texts.say("running-rotate"),
            label: texts
                .with("running-rotate-label", &[("issuer", issuer(registrations, Some(owner)).into())]),
        });
        vec![
            Cell::Code(key.kid.clone()),
            Cell::Text(issuer(registrations, key.registration)),
            Cell::State(tone, texts.say(state)),
            Cell::Text(texts.date_time(key.created_at, &app.settings.time_zone)),
            Cell::Acts(rotate.into_iter().collect()),
        ]
    };
    let published = keys.iter().filter(|key| rotation::stage(key, &keys, now) != Stage::Retired);
    let rows = published.map(row).collect();
    let names = [
        "running-column-name",
        "running-column-issuer",
        "running-column-state",
        "running-column-made",
        "running-column-do",
    ];
    let table =
        Table::new(texts.say("running-keys"), columns(texts, &names), rows, texts.say("running-no-key"));
    Ok(Section::new("keys", texts.say("running-keys")).text(texts.say("running-keys-about")).table(table))
}

/// The addresses that a platform's documentation names: field and message.
const ADDRESSES: [(&str, &str); 4] = [
    ("issuer", "running-column-issuer"),
    ("authorization_url", "running-authorization-url"),
    ("token_url", "running-token-url"),
    ("keys_url", "running-keys-url"),
];

fn adding(texts: &Texts) -> Section {
    let mut fields: Vec<Field> =
        ADDRESSES.iter().map(|(name, message)| Field::line(name, texts.say(message), "")).collect();
    fields.insert(1, Field::line("client_id", texts.say("running-column-client"), ""));
    fields.push(Field::line("deployment", texts.say("running-column-deployment"), ""));
    let form = Form::post(format!("{PATH}/add"), texts.say("running-add"), fields);
    Section::new("add", texts.say("running-add-heading")).text(texts.say("running-add-about")).form(form)
}

/// POST: registers a platform, with the checks of `tenths platform add`.
pub(crate) async fn add(
    session: DistrictSession,
    app: web::Data<App>,
    posted: Posted,
) -> Result<HttpResponse, PageError> {
    let fields = Fields::checked(posted, &session.csrf)?;
    match new_registration(&fields, app.settings.reach) {
        Ok(new) => {
            app.storage.put_registration(new, &session.change(&app)).await?;
            Ok(answer::see_other(PATH))
        }
        Err(problem) => {
            let told = Texts::of_reader().with("running-add-fault", &[("problem", problem.into())]);
            refused(page(&session, &app).await?, told)
        }
    }
}

fn new_registration(fields: &Fields, reach: Reach) -> Result<NewRegistration, String> {
    let value = |name: &str| fields.value(name).trim().to_owned();
    let address = |name: &str| {
        let url: Url = value(name).parse().map_err(|error| format!("{name}: {error}"))?;
        reach.check(name, &url).map_err(|error| error.to_string())?;
        Ok::<Url, String>(url)
    };
    // Kept as text, because it is compared byte for byte, but it has to be an address.
    if address("issuer")?.query().is_some() {
        return Err("issuer: an address without query was expected".into());
    }
    let plain = |name: &str| {
        let value = value(name);
        let fits = !value.is_empty() && value.len() <= 255 && value.is_ascii();
        if fits { Ok(value) } else { Err(format!("{name}: 1 to 255 ASCII characters were expected")) }
    };
    Ok(NewRegistration {
        issuer: value("issuer"),
        client_id: ClientId(plain("client_id")?),
        authorization_url: address("authorization_url")?,
        token_url: address("token_url")?,
        keys_url: address("keys_url")?,
        audience: None,
        deployments: [DeploymentId(plain("deployment")?)].into(),
    })
}

/// The platform that a form names.
async fn named(app: &App, fields: &Fields) -> Result<Registration, PageError> {
    let id = fields.value("platform").parse().map(RegistrationId).map_err(|_| PageError::NotFound)?;
    app.storage.registration(id).await?.ok_or(PageError::NotFound)
}

/// POST: asks once more, telling what goes with the platform; then removes it.
pub(crate) async fn remove(
    session: DistrictSession,
    app: web::Data<App>,
    posted: Posted,
) -> Result<HttpResponse, PageError> {
    let fields = Fields::checked(posted, &session.csrf)?;
    let texts = Texts::of_reader();
    let known = named(&app, &fields).await?;
    let (issuer, client) = (&known.platform.issuer, &known.platform.client_id);
    if fields.value("sure") != "yes" {
        let placements = app.storage.placements().await?;
        let quizzes =
            placements.iter().filter(|placement| placement.quiz.link.registration == known.id).count();
        let told = [("issuer", issuer.as_str().into()), ("quizzes", quizzes.into())];
        let form = Form::post(
            format!("{PATH}/remove"),
            texts.say("running-remove-sure"),
            vec![Field::hidden("platform", known.id.0.to_string()), Field::hidden("sure", "yes")],
        );
        let section = Section::new("remove", texts.say("running-remove"))
            .text(texts.with("running-remove-tells", &told))
            .form(form)
            .link(PATH, texts.say("running-remove-not"));
        return refused(
            board(&session, PATH, texts.say("running-page-platforms"), vec![section]),
            texts.say("running-remove-asks"),
        );
    }
    app.storage.remove_registration(issuer, client, &session.change(&app)).await?;
    Ok(answer::see_other(PATH))
}

/// POST: a deployment may launch from now on.
pub(crate) async fn approve(
    session: DistrictSession,
    app: web::Data<App>,
    posted: Posted,
) -> Result<HttpResponse, PageError> {
    let fields = Fields::checked(posted, &session.csrf)?;
    let known = named(&app, &fields).await?;
    let deployment = DeploymentId::from(fields.value("deployment"));
    app.storage.approve_deployment(known.id, &deployment, &session.change(&app)).await?;
    Ok(answer::see_other(PATH))
}

/// POST: makes an invitation; its address is shown this once.
pub(crate) async fn invite(
    session: DistrictSession,
    app: web::Data<App>,
    posted: Posted,
) -> Result<HttpResponse, PageError> {
    let fields = Fields::checked(posted, &session.csrf)?;
    let (secret, change) = (entropy::secret(), session.change(&app));
    let invitation = Invitation {
        id: entropy::short_identifier(),
        secret: Fingerprint::of(&secret),
        note: crate::shorten(fields.value("note").trim(), 200),
        created_at: change.at,
        expires_at: plus_ms(change.at, INVITED_MS),
        revoked_at: None,
        used_at: None,
        registration: None,
    };
    app.storage.add_invitation(invitation, &change).await?;
    let address = format!("{}?invitation={secret}", app.settings.public_url.join("/lti/register"));
    done(page(&session, &app).await?, Texts::of_reader().say("running-invited"), Some(address))
}

/// POST: takes an invitation back.
pub(crate) async fn revoke_invitation(
    session: DistrictSession,
    app: web::Data<App>,
    posted: Posted,
) -> Result<HttpResponse, PageError> {
    let fields = Fields::checked(posted, &session.csrf)?;
    app.storage.revoke_invitation(fields.value("id"), &session.change(&app)).await?;
    Ok(answer::see_other(PATH))
}

/// POST: a platform gets a new signing key, which signs after a day in which the platform can learn of it.
pub(crate) async fn rotate(
    session: DistrictSession,
    app: web::Data<App>,
    posted: Posted,
) -> Result<HttpResponse, PageError> {
    let fields = Fields::checked(posted, &session.csrf)?;
    let known = named(&app, &fields).await?;
    let (store, seal_key) = (app.storage.as_ref(), app.settings.seal_key.as_ref());
    let rotated = rotation::rotate(store, seal_key, Some(known.id), OVERLAP_MS, &session.change(&app)).await;
    if let Err(error) = rotated {
        tracing::warn!(%error, "a key was not rotated");
        return refused(page(&session, &app).await?, Texts::of_reader().say("running-rotate-fault"));
    }
    if let Err(error) = app.tool_keys.tend().await {
        // The service looks after its keys by itself, too.
        tracing::warn!(%error, "signing keys could not be looked after");
    }
    Ok(answer::see_other(PATH))
}
