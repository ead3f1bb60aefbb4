//! Which address leads where.

use crate::guard::{MOST_FORM_BYTES, guard};
use crate::refusal::Refusal;
use crate::shared::Shared;
use crate::{api, assets, guard as guards, pages};
use axum::extract::{DefaultBodyLimit, Request};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use axum::{Json, Router, middleware};
use std::sync::Arc;
use utoipa::OpenApi as _;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

#[derive(utoipa::OpenApi)]
#[openapi(info(
    title = "Filmproof",
    description = "The use cases of the program as JSON. Answers of the estimate have the keys of the commands' --json. A change needs the header x-filmproof-token with the token of this run, which GET /api/run gives; no other site can read it.",
    version = env!("CARGO_PKG_VERSION"),
    license(name = "MIT OR Apache-2.0"),
))]
struct Description;

/// Builds the whole program behind the socket.
///
/// The caller adds the connection: `into_make_service_with_connect_info::<Connection>()`.
pub fn router(shared: &Arc<Shared>) -> Router {
    let (api_routes, description) = OpenApiRouter::with_openapi(Description::openapi())
        .routes(routes!(api::run::run))
        .routes(routes!(api::jobs::state))
        .routes(routes!(api::jobs::stop))
        .routes(routes!(api::predict::predict))
        .routes(routes!(api::trace::trace))
        .routes(routes!(api::tests::list, api::tests::begin))
        .routes(routes!(api::records::records, api::records::save_records))
        .routes(routes!(api::outlines::outline))
        .routes(routes!(api::outlines::outline_tablet))
        .routes(routes!(api::tablets::search, api::tablets::look))
        .routes(routes!(api::outlines::give_scan))
        .routes(routes!(api::tablets::keep))
        .routes(routes!(api::tablets::picture))
        .routes(routes!(api::frames::found))
        .routes(routes!(api::frames::keep))
        .routes(routes!(api::files::send_log))
        .routes(routes!(api::tests::evaluate))
        .routes(routes!(api::tests::findings))
        .routes(routes!(api::files::send_scan))
        .routes(routes!(api::files::send_bundle))
        .routes(routes!(api::folders::begin))
        .routes(routes!(api::folders::send_file))
        .routes(routes!(api::folders::take_in))
        .routes(routes!(api::folders::give_up))
        .routes(routes!(api::tiles::levels))
        .routes(routes!(api::tiles::codes))
        .routes(routes!(api::tiles::tile))
        .split_for_parts();
    let pages = Router::new()
        .route("/", get(pages::tests::list))
        .route(
            "/tests/new",
            get(pages::new_test::show).post(pages::new_test::begin),
        )
        .route("/tests/new/answer", post(pages::planning::answer_of_new))
        .route("/tests/example", post(pages::tests::example))
        .route("/tests/{test}/put-away", post(pages::tests::put_away))
        .route("/tests/{test}/take-out", post(pages::tests::take_out))
        .route(
            "/tests/{test}/plan",
            get(pages::plan::show).post(pages::planning::keep),
        )
        .route("/tests/{test}/plan/new", get(pages::planning::show))
        .route("/tests/{test}/plan/answer", post(pages::planning::answer))
        .route("/tests/{test}/card/{kind}", get(pages::plan::card))
        .route("/tests/{test}/exposures", get(pages::exposures::show))
        .route("/tests/{test}/history", get(pages::history::show))
        .route("/tests/{test}/undo", post(pages::history::undo))
        .route("/tests/{test}/put-back", post(pages::history::put_back))
        .route("/tests/{test}/negatives", get(pages::negatives::show))
        .route("/tests/{test}/carried", post(pages::negatives::carried))
        .route("/tests/{test}/given", post(pages::negatives::given))
        .route("/tests/{test}/rebate/keep", post(pages::frame_found::keep))
        .route("/tests/{test}/tablet", get(pages::tablet::part))
        .route("/tests/{test}/tablet/look", post(pages::tablet::look))
        .route("/tests/{test}/tablet/stop", post(pages::tablet::stop))
        .route("/tests/{test}/tablet/keep", post(pages::tablet::keep))
        .route("/tests/{test}/curves", get(pages::curves::show))
        .route("/tests/{test}/spectra", get(pages::spectra::show_of_test))
        .route("/tests/{test}/evaluate", post(pages::findings::evaluate))
        .route("/tests/{test}/findings", get(pages::findings::show))
        .route(
            "/tests/{test}/findings.json",
            get(pages::report::findings_json),
        )
        .route("/tests/{test}/compare", get(pages::compare::show))
        .route("/tests/{test}/report", get(pages::report::show))
        .route("/tests/{test}/report.html", get(pages::report::file))
        .route("/tests/{test}/bundle", get(pages::report::bundle))
        .route("/trace", get(pages::trace::show))
        .route("/spectra", get(pages::spectra::show))
        .route(
            "/spectra/answer",
            get(pages::spectra::answer_alone).post(pages::spectra::answer_to_form),
        )
        .route("/jobs/{job}", get(pages::job::show))
        .route("/jobs/{job}/stop", post(pages::job::stop))
        .route(
            "/let-in",
            get(pages::let_in::show).post(pages::let_in::typed),
        )
        .route("/assets/{folder}/{name}", get(assets::asset))
        .route(
            "/api/openapi.json",
            get(move || std::future::ready(Json(description.clone()))),
        );
    pages
        .merge(api_routes)
        .fallback(nothing)
        .method_not_allowed_fallback(no_such_method)
        .layer(DefaultBodyLimit::max(MOST_FORM_BYTES))
        .layer(middleware::from_fn_with_state(Arc::clone(shared), guard))
        .with_state(Arc::clone(shared))
}

async fn nothing(request: Request) -> Response {
    Refusal::not_found("there is no page at this address")
        .told_as(guards::wants_json(request.uri().path()))
        .into_response()
}

async fn no_such_method(request: Request) -> Response {
    Refusal::new(
        StatusCode::METHOD_NOT_ALLOWED,
        format!("{} is not possible at this address", request.method()),
        "",
    )
    .told_as(guards::wants_json(request.uri().path()))
    .into_response()
}
