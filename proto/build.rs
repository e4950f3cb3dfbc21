//! Compiles the `.proto` files with protox, so that no `protoc` is needed.

use std::path::{Path, PathBuf};

use prost::Message as _;

const FILES: [&str; 11] = [
    "access.proto",
    "amount.proto",
    "catalogue.proto",
    "export.proto",
    "fact.proto",
    "floor.proto",
    "hello.proto",
    "intake.proto",
    "log.proto",
    "quote.proto",
    "report.proto",
];

/// Messages that `bay … --json` prints as they are: their field names are the
/// names in the JSON.
const PRINTED: [&str; 89] = [
    "Amount",
    "Grades",
    "Money",
    "NowResponse",
    "NowBay",
    "NowAir",
    "NowJob",
    "NowStage",
    "NowDwell",
    "NowSection",
    "NowWorker",
    "Notice",
    "Receipt",
    "Week",
    "WeekBay",
    "WeekJob",
    "WeekStage",
    "WeekType",
    "WeekChemical",
    "OddAnswer",
    "OddRecord",
    "OddResponse",
    "JobStory",
    "StoryLine",
    "StoryPlace",
    "StoryUse",
    "JobMoney",
    "WeekMoney",
    "Shortfall",
    "Spread",
    "Flow",
    "IdleReason",
    "WeekDay",
    "WeekPoint",
    "AirOut",
    "CureUnderWay",
    "ReworkGroup",
    "StoryStretch",
    "StoryAir",
    "StorySection",
    "Why",
    "WhyLine",
    "StockResponse",
    "StockLine",
    "OpenContainer",
    "LotResponse",
    "LotReceipt",
    "LotPanel",
    "LotUse",
    "OwnResponse",
    "OwnStage",
    "ExportHead",
    "ExportJob",
    "ExportStay",
    "ExportStretch",
    "ExportWait",
    "ExportDeclared",
    "ExportUse",
    "ExportPart",
    "ExportSection",
    "ExportLevelled",
    "SuggestResponse",
    "ListQuotesResponse",
    "QuoteLine",
    "Quote",
    "QuoteActual",
    "QuoteActualProduct",
    "LearnedResponse",
    "LearnedType",
    "LearnedStage",
    "LearnedProduct",
    "LearnedGrade",
    "LearnedSpread",
    "LookAgain",
    "HonestyResponse",
    "Honesty",
    "HonestyOf",
    "HonestyJob",
    "HonestyPoint",
    "Ahead",
    "AheadWeek",
    "AheadJob",
    "QuotesOfType",
    "QuoteAsked",
    "QuotePrinted",
    "QuotedStage",
    "QuotedProduct",
    "QuotedLike",
    "Panel",
];

/// Fields whose derived JSON would not be readable, and what writes them.
const WRITTEN: [(&str, &str); 14] = [
    ("NowJob.opening_event_id", "uuid"),
    ("Receipt.event_id", "uuid"),
    ("OddRecord.event_id", "uuid"),
    ("StoryLine.event_id", "uuid"),
    ("StoryLine.time_basis", "time_basis"),
    ("Notice.severity", "severity"),
    ("Amount.unit", "unit"),
    ("ExportJob.opening_event_id", "uuid"),
    ("ExportJob.comeback_of_event_id", "uuid"),
    ("ExportStretch.run_event_id", "uuid"),
    ("ExportUse.event_id", "uuid"),
    ("ExportUse.mix_event_id", "uuid"),
    ("QuoteLine.drafted_event_id", "uuid"),
    ("QuoteLine.state", "quote_state"),
];

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    println!("cargo:rerun-if-changed=baywright");
    let files: Vec<PathBuf> = FILES
        .iter()
        .map(|f| root.join("baywright/v1").join(f))
        .collect();
    let mut compiler = protox::Compiler::new([root])?;
    compiler.include_source_info(true).include_imports(true);
    compiler.open_files(&files)?;
    let descriptors = compiler.file_descriptor_set();
    let out = PathBuf::from(std::env::var("OUT_DIR")?);
    std::fs::write(out.join("descriptors.bin"), descriptors.encode_to_vec())?;
    let mut builder = tonic_prost_build::configure()
        .build_client(std::env::var_os("CARGO_FEATURE_CLIENT").is_some())
        .build_server(std::env::var_os("CARGO_FEATURE_SERVER").is_some());
    for name in PRINTED {
        builder = builder.type_attribute(
            format!("baywright.v1.{name}"),
            "#[derive(serde::Serialize)]",
        );
    }
    for (field, writer) in WRITTEN {
        builder = builder.field_attribute(
            format!("baywright.v1.{field}"),
            format!("#[serde(serialize_with = \"crate::json::{writer}\")]"),
        );
    }
    builder.compile_fds(descriptors)?;
    Ok(())
}
