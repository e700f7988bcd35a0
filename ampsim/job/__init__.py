"""One customer's job: the record in a folder, the page for the owner, the papers for the shop.

It imports everything but interface. Begin reading with `record.data`.
"""

from __future__ import annotations

from ..base.lazy_names import lazy_names

# What a job is worked through with, step by step as `ampsim job` does; loaded on first use.
_HOME = {
    # the record
    "record.data": (
        "FORMAT",
        "Blind",
        "Change",
        "Choice",
        "Frozen",
        "Measured",
        "Note",
        "OwnersWish",
        "Record",
        "State",
        "Status",
        "Sweep",
    ),
    "record.words": ("Phase",),
    "record.beginning": ("begin_job",),
    "record.reading": ("is_job", "job_file", "parse_record", "read_record"),
    "record.changing": ("add_entry", "add_wish", "change_entry", "enter_status"),
    "record.frozen": ("Opened", "accept_frozen", "freeze_files", "frozen_faults", "open_audition", "open_job"),
    "record.saving": ("keep_positions", "save_record"),
    "record.choosing": ("choice_reason", "take_choice", "weigh_choice"),
    "record.blind": ("blind_words", "keep_blind"),
    "record.intake": ("Intake", "intake"),
    "record.measurements": ("keep_readings", "keep_sweep", "recorded_readings"),
    # all jobs, and one job kept
    "shop.overview": ("Overview", "shop"),
    "shop.packing": ("pack", "unpack"),
    # at the bench, and deciding
    ".bench.diagnosis.picture": ("volts_picture",),
    ".bench.proof.sweeps": ("compare_with_drawing",),
    ".bench.sweeps.fit": ("fit_parts",),
    ".bench.sweeps.picture": ("compared_picture",),
    ".studies.search.text": ("find_text",),
    "papers.sweeps": ("measured_sweeps", "work_over"),
    # doing
    ".work.cautions.sheet": ("caution_sheet",),
    ".work.parts_list.parts_list": ("parts_list",),
    ".work.schematic.draw": ("schematic",),
    ".work.steps.work_plan": ("work_steps",),
    ".work.wiring.readback": ("wiring",),
    "papers.wiring": ("wiring_tables", "wiring_text"),
    # what it costs
    "quote.choosing": ("Purchase",),
    "quote.hours": ("estimate", "past_times"),
    "quote.invoice": ("compare", "make_invoice"),
    "quote.make_quote": ("answer_quote", "keep_quote", "make_quote"),
    "quote.order_list": ("purchase_of",),
    "quote.price_list": ("read_price_lists",),
    "quote.shop_sheet": ("ShopSheet", "shop_sheet"),
    # proof and handing over
    "papers.handover": ("CHECKED", "Handover", "gather_handover", "proof_of"),
    "papers.shop_record": ("shop_html", "shop_record"),
    "papers.owner_page": ("control_advice", "owner_page"),
    "papers.exercise": ("ExerciseSheet", "exercise", "write_exercise"),
    "papers.exercise_questions": ("Question",),
    "papers.pdf": ("write_pdf",),
    "papers.write_all": ("write_papers",),
    "page.write": ("write_page",),
}
__getattr__ = lazy_names(__name__, _HOME)
