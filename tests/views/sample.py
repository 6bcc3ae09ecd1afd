"""A fit document made by hand, for report tests alone: the invented fog-signal controller."""

from __future__ import annotations

import math

from partgen.output.result_document import (
    BudgetDoc,
    BudgetLineDoc,
    CheckDoc,
    ClearanceDoc,
    DoubtDoc,
    DrawingDoc,
    FitDocument,
    GeometryDoc,
    GripDoc,
    MeasuredDoc,
    NextDoc,
    PanelDoc,
    PlacedDoc,
    PlateDoc,
    PositionDoc,
    PrintDoc,
    SectionDoc,
    SetDoc,
    State,
)

SLOPE = (0.0148, 0.0052)
TRAVEL = 2.4


def rectangle(width: float, depth: float, radius: float = 0.0) -> SectionDoc:
    """A rounded rectangle with four points per corner."""
    if radius <= 0:
        w, d = width / 2, depth / 2
        outline = [(w, -d), (w, d), (-w, d), (-w, -d)]
    else:
        outline = []
        for quarter, (sx, sy) in enumerate([(1, 1), (-1, 1), (-1, -1), (1, -1)]):
            for i in range(4):
                angle = math.radians(90 * quarter + 30 * i)
                outline.append(
                    (
                        sx * (width / 2 - radius) + radius * math.cos(angle),
                        sy * (depth / 2 - radius) + radius * math.sin(angle),
                    )
                )
    return SectionDoc(
        shape="rectangle", width_mm=width, depth_mm=depth, corner_radius_mm=radius, outline=tuple(outline)
    )


def position(
    index: int, label: str, at: tuple[float, float], state: State = "pass", slope: tuple[float, float] = SLOPE
) -> PositionDoc:
    """One position with all its records; numbers hang together well enough to look at."""
    face = 4.31 + slope[0] * at[0] + slope[1] * at[1]
    height = face + 1.5
    model = round((height - 0.02) / 0.1) * 0.1
    proud = model + 0.02 - face
    worst = {"pass": 0.121, "not proven": 0.043, "fail": -0.082}[state]
    advice = {
        "pass": "At least 0.05 mm stays free on each side in the worst case.",
        "not proven": "The room left may be less than 0.05 mm. "
        "Measure the hole's width here twice more, or make the cap 0.1 mm narrower.",
        "fail": "The cap will rub on the hole's wall. Choose a narrower section, or open the hole by 0.2 mm.",
    }[state]
    checks = (
        CheckDoc(
            name="Room in the hole", value=worst, limit=0.05, u95=0.06, unit="mm", state=state, why=advice, code="bind"
        ),
        CheckDoc(
            name="Height above the panel",
            value=proud - 1.5,
            limit=0.3,
            u95=0.14,
            unit="mm",
            state="pass",
            why="Within the tolerance you gave.",
            code="proud",
        ),
        CheckDoc(
            name="Wall thickness",
            value=1.19,
            limit=0.9,
            u95=0.02,
            unit="mm",
            state="pass",
            why="Two lines wide or more everywhere.",
            code="wall",
            source="printing",
        ),
        CheckDoc(
            name="Room in the hole, on the solid",
            value=0.352,
            limit=0.05,
            u95=0.01,
            unit="mm",
            state="pass",
            why="Agrees with the plan.",
            code="bind-geometry",
            source="geometry",
        ),
    )
    section, drawn = rectangle(10.87, 5.68, 0.4), rectangle(10.78, 5.6, 0.4)
    drawing = DrawingDoc(
        slope=slope,
        face_z=face,
        face_u95=0.12,
        thickness=2.033,
        hole=rectangle(11.51, 6.32, 0.5),
        passage=rectangle(11.478, 6.309, 0.5).outline,
        offset=(0.0, 0.0),
        section=section,
        model_section=drawn,
        crown="flat",
        crown_rise=0.0,
        crown_slope=(0.0, 0.0),
        edge_radius=0.4,
        crown_z=height,
        skirt_bottom=-3.4,
        wall=1.2,
        flange=rectangle(12.61, 7.42, 0.8),
        flange_top=face - 2.033 - 0.45,
        flange_bottom=face - 2.033 - 1.45,
        socket_shape="rectangle",
        socket_width=3.34,
        socket_depth=3.33,
        socket_length=3.9,
        seat_width=3.29,
        seat_depth=3.28,
        seat_length=4.2,
        travel=TRAVEL,
        body=6.6,
        sides_mm=(0.304, 0.304, 0.3145, 0.3145),
    )
    budget = BudgetDoc(
        subject=f"{label}: seat to panel face",
        value_mm=face,
        u_mm=0.0561,
        u95_mm=0.118,
        dof=18.4,
        lines=(
            BudgetLineDoc(
                source="repeats of the drop",
                kind="A",
                distribution="normal",
                u_mm=0.0153,
                dof=2,
                sensitivity=1.0,
                contribution_mm=0.0153,
            ),
            BudgetLineDoc(
                source="calipers' display step",
                kind="B",
                distribution="rectangular",
                u_mm=0.0029,
                dof=None,
                sensitivity=1.0,
                contribution_mm=0.0029,
            ),
            BudgetLineDoc(
                source="calipers' limit of error",
                kind="B",
                distribution="rectangular",
                u_mm=0.0173,
                dof=None,
                sensitivity=1.0,
                contribution_mm=0.0173,
            ),
            BudgetLineDoc(
                source="seat height from place to place",
                kind="B",
                distribution="normal",
                u_mm=0.05,
                dof=None,
                sensitivity=1.0,
                contribution_mm=0.05,
            ),
        ),
    )
    return PositionDoc(
        label=label,
        part="key",
        height_mm=height,
        model_height_mm=model,
        proud_mm=proud,
        proud_u95_mm=0.1417,
        clearance_mm=0.304,
        clearance_worst_mm=worst,
        p_bind={"pass": 0.0004, "not proven": 0.0041, "fail": 0.31}[state],
        grip_n=(1.93, 4.12),
        section_mm=(10.87, 5.68),
        model_section_mm=(10.78, 5.6),
        extent_mm=(12.52, 7.33, model + 3.4),
        state=state,
        checks=checks,
        kind="button-cap",
        at_mm=at,
        colour="#8c2f1b" if index % 5 == 0 else "#30343a",
        hole="window",
        seat="plunger",
        mark=label,
        proud_wanted_mm=1.5,
        proud_tolerance_mm=0.3,
        proud_pressed_mm=proud - TRAVEL,
        largest_section_mm=(10.91, 5.72),
        readings_mm=(round(face, 2), round(face + 0.02, 2), round(face - 0.02, 2)),
        clearance=ClearanceDoc(
            nominal_mm=0.304, worst_mm=worst, rss_mm=0.198, u95_mm=0.106, model_nominal_mm=0.349, model_rocked_mm=0.318
        ),
        grip=GripDoc(
            kind="ribs",
            pull_off_n=(1.93, 4.12),
            insertion_n=(3.1, 6.4),
            strain=(0.004, 0.009),
            strain_limit=0.015,
            interference_mm=(0.06, 0.16),
            slop_mm=0.0,
            note="A trial that says loose, holds or tight narrows this most.",
        ),
        drawing=drawing,
        budget=budget,
        geometry=GeometryDoc(
            height_mm=model,
            clearance_mm=0.352,
            clearance_rocked_mm=0.321,
            interference_mm3=0.0,
            volume_mm3=412.7,
            watertight=True,
            bodies=1,
            min_wall_mm=1.19,
            overhang_mm2=3.1,
            orientation="crown down",
        ),
        file=f"parts/{index}-r02.stl",
        unchanged_since="r01" if index % 4 == 3 else None,
        change="0.1 mm taller: its trial in r01 stood 1.38 mm proud." if index % 4 == 1 else "",
    )


def document(
    n: int = 6,
    *,
    states: dict[int, State] | None = None,
    label: str = "S{}",
    doubt: bool = True,
    title: str = "Fog-signal controller, lower panel",
) -> FitDocument:
    """A set of `n` positions, twelve to a row; `states` says which are not proven or fail."""
    states = states or {}
    across = n if n <= 8 else 12
    places = [(15.0 * (i % across), 21.0 * (i // across)) for i in range(n)]
    positions = tuple(position(i, label.format(i + 1), at, states.get(i, "pass")) for i, at in enumerate(places))
    worst: State = "fail" if "fail" in states.values() else "not proven" if states else "pass"
    side = [
        PlacedDoc(label=p.label, at_mm=(12.0 + 16 * (i % 12), 12.0 + 11 * (i // 12)), size_mm=(12.52, 7.33))
        for i, p in enumerate(positions)
    ]
    return FitDocument(
        title=title,
        revision="r02",
        printer="material-extrusion",
        panel=PanelDoc(
            tilt_deg=0.899,
            tilt_u95_deg=0.112,
            uphill_deg=19.36,
            residual_mm=0.041,
            slope=SLOPE,
            bow_mm=(0.02, 0.0, -0.01),
            thickness_mm=2.033,
            thickness_u95_mm=0.035,
        ),
        positions=positions,
        doubts=(
            DoubtDoc(
                label=positions[-1].label,
                what="drop",
                reading_mm=5.32,
                why="0.9 mm away from its repeats; a slip of the jaw?",
            ),
        )
        if doubt
        else (),
        set=SetDoc(
            p_all_fit=0.9713 if worst == "pass" else 0.812,
            p_all_fit_wanted=0.95,
            state=worst,
            next_measurement=NextDoc(
                label=positions[0].label,
                what="drop",
                why="it lies at the panel's end, where the tilt weighs most",
                gain_mm=0.018,
            ),
        ),
        profile="fog-signal-controller.toml",
        date="2026-11-25",
        partgen="0.1.0",
        seed=1,
        draws=20000,
        notes=(
            "The panel's thickness was measured at three places and taken as even.",
            "How far a hole may sit off its seat's axis was not measured: 0.25 mm was assumed.",
            "The printer's errors are the shipped, wide ones for material extrusion; a coupon would narrow them.",
        ),
        print=PrintDoc(
            process="material extrusion",
            material="PLA",
            layer_height_mm=0.1,
            orientation="crown down",
            orientation_why="The crown comes out smooth and nothing needs support.",
            mass_g=3.42,
            time_min=64.0,
            cost=0.09,
            currency="EUR",
            plates=("plate-1.3mf",),
            layout=(PlateDoc(file="plate-1.3mf", size_mm=(220.0, 220.0), items=tuple(side)),),
        ),
        previous="r01",
        sources=(
            "JCGM 100:2008, Guide to the expression of uncertainty in measurement",
            "JCGM 101:2008, Propagation of distributions using a Monte Carlo method",
            "ISO 14253-1:2017, Decision rules for verifying conformity or nonconformity with specifications",
        ),
        measured=(
            MeasuredDoc(subject="[hole.window] width", readings_mm=(11.52, 11.5), value_mm=11.51, u95_mm=0.046),
            MeasuredDoc(subject="[panel] thickness", readings_mm=(2.02, 2.05, 2.03), value_mm=2.033, u95_mm=0.035),
        ),
    )
