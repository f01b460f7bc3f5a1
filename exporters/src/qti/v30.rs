//! QTI 3.0: what only this version says (ASI 3.0.1, content packaging of QTI 3.0).
use super::{
    dialect::{Dialect, PackageDialect, Spelling},
    write::SCHEMA_INSTANCE,
};

/// The dialect of QTI 3.0.
pub const DIALECT: Dialect = Dialect {
    spelling: Spelling::Kebab,
    namespace: "http://www.imsglobal.org/xsd/imsqtiasi_v3p0",
    root: [
        ("xmlns", "http://www.imsglobal.org/xsd/imsqtiasi_v3p0"),
        ("xmlns:xsi", SCHEMA_INSTANCE),
        (
            "xsi:schemaLocation",
            "http://www.imsglobal.org/xsd/imsqtiasi_v3p0 https://purl.imsglobal.org/spec/qti/v3p0/schema/xsd/imsqti_asiv3p0p1_v1p0.xsd",
        ),
    ],
    content_body: true,
    aria: true,
    catalog: true,
    package: PackageDialect {
        namespace: "http://www.imsglobal.org/xsd/qti/qtiv3p0/imscp_v1p1",
        schema_location: "http://www.imsglobal.org/xsd/qti/qtiv3p0/imscp_v1p1 https://purl.imsglobal.org/spec/qti/v3p0/schema/xsd/imsqtiv3p0_imscpv1p2_v1p0.xsd",
        schema_name: "QTI Package",
        schema_version: "3.0.0",
        metadata_namespace: "http://www.imsglobal.org/xsd/imsqti_metadata_v3p0",
        scoring_mode: true,
        curriculum_namespace: Some("http://www.imsglobal.org/xsd/qti/qtiv3p0/imscsmd_v1p1"),
        case_item_uri: true,
        item_type: "imsqti_item_xmlv3p0",
        test_type: "imsqti_test_xmlv3p0",
        metadata_scheme: "QTIv3.0",
    },
};
