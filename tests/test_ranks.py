"""A file imports only from a smaller rank, never from its own: the table below is the map of the package."""

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "server" / "drenchbook"

# A folder stands for all its files unless a file has a row of its own; the longest match counts.
RANKS: dict[str, float] = {
    "__init__.py": 0,
    "errors.py": 0,
    "physics/__init__.py": 0.4,
    "physics/inputs.py": 0.5,
    "physics/water.py": 1,
    "physics/": 2,
    "units.py": 3,
    "published/__init__.py": 3.5,
    "published/data_files.py": 3.6,
    "published/size_text.py": 3.7,
    "published/sources.py": 3.8,
    "published/": 4,
    "site_tables.py": 5,
    "site_model.py": 6,
    "result_tables.py": 6,
    "quantity_text.py": 6,
    "cell_gaps.py": 6.2,
    "site_cells.py": 6.2,
    "site_sheets.py": 6.4,
    "site_rules.py": 6.6,
    "site_file.py": 6.6,
    "network_arrays.py": 6.8,
    "network_cells.py": 6.85,
    "network_sums.py": 6.85,
    "network_devices.py": 6.9,
    "network_valves.py": 6.9,
    "network.py": 7,
    "operating_cases.py": 8,
    "faulted_network.py": 8.1,
    "solver_results.py": 8,
    "solver_paths.py": 8.2,
    "solver_trees.py": 8.2,
    "solver_blocks.py": 8.4,
    "solver_flows.py": 8.5,
    "solver_residuals.py": 8.5,
    "solver_single_paths.py": 8.5,
    "solver_single_ways.py": 8.55,
    "solver_single.py": 8.6,
    "solver_single_roots.py": 8.65,
    "solver_single_storing.py": 8.68,
    "solver_sets.py": 8.7,
    "solver_leakage.py": 8.6,
    "solver_storing.py": 8.7,
    "solver_statics.py": 8.8,
    "solver_steps.py": 8.9,
    "solver.py": 9,
    "check_limits.py": 9.1,
    "valve_pairs.py": 9.1,
    "check_context.py": 9.2,
    "missing_inputs.py": 9.5,
    "standing_water.py": 9.5,
    "standing_seconds.py": 9.5,
    "surroundings.py": 9.3,
    "loops.py": 9.35,
    "frost.py": 9.35,
    "pipe_heat.py": 9.4,
    "hot_sources.py": 9.3,
    "hot_courses.py": 9.32,
    "hot_water.py": 9.45,
    "check_samples.py": 9.4,
    "closing_surge.py": 9.5,
    "pipe_states.py": 9.55,
    "courses.py": 9.57,
    "case_measures.py": 9.58,
    "flow_measures.py": 9.6,
    "valve_measures.py": 9.6,
    "heat_measures.py": 9.6,
    "check_measures.py": 9.65,
    "findings.py": 9.68,
    "check_pressures.py": 9.7,
    "check_static.py": 9.7,
    "check_valves.py": 9.72,
    "check_idle.py": 9.75,
    "check_table.py": 9.8,
    "check_page.py": 9.9,
    "checks.py": 10,
    "hot_water_words.py": 10.1,
    "bypass_sizing.py": 10.1,
    "idle_remedies.py": 10.15,
    "verdict_numbers.py": 10.1,
    "pressure_remedies.py": 10.15,
    "remedy_numbers.py": 10.15,
    "check_remedies.py": 10.2,
    "check_words.py": 10.4,
    "site_line.py": 10.2,
    "out_of_service.py": 10.3,
    "run_sizes.py": 10.3,
    "power_lines.py": 10.3,
    "stated_lines.py": 10.3,
    "loop_lines.py": 10.38,
    "site_lines.py": 10.4,
    "judged_site.py": 10.5,
    "station_numbers.py": 10.52,
    "schedule_rows.py": 10.55,
    "set_rows.py": 10.55,
    "case_rows.py": 10.55,
    "path_lines.py": 10.55,
    "path_rows.py": 10.57,
    "field_day.py": 10.55,
    "field_windows.py": 10.57,
    "field_lines.py": 10.58,
    "field_corrections.py": 10.59,
    "course_rows.py": 10.58,
    "report.py": 10.6,
    "json_cases.py": 10.7,
    "json_inputs.py": 10.75,
    "json_report.py": 10.8,
    "table_results.py": 11,
    "function_spelling.py": 11.1,
    "worksheet_arguments.py": 11.2,
    "worksheet_calculations.py": 11.4,
    "worksheet_functions.py": 12,
    "worksheet_columns.py": 12.1,
    "worksheet_reference.py": 12.1,
    "formula_values.py": 12.2,
    "formula_operators.py": 12.3,
    "formula_text_functions.py": 12.4,
    "formula_counting.py": 12.4,
    "formula_functions.py": 12.5,
    "formula_grammar.py": 12.6,
    "formula_running.py": 12.65,
    "formula_language.py": 12.7,
    "registry_externals.py": 12.8,
    "evaluate_command.py": 12.9,
    "workbook/": 13,
    "convert_command.py": 14.25,
    "recalc_command.py": 14.5,
    "hosts/": 14,
    "hosts/libreoffice/": 14,
    "hosts/libreoffice_addin.py": 14.1,
    "hosts/respelled_workbook.py": 14.1,
    "hosts/state_folder.py": 14.1,
    "hosts/web_icons.py": 14.1,
    "hosts/server_batch.py": 14.1,
    "hosts/server_guards.py": 14.1,
    "hosts/server_connections.py": 14.1,
    "hosts/server_pages.py": 14.1,
    "hosts/excel_module.py": 14.1,
    "hosts/excel_functions.py": 14.2,
    "hosts/excel_examples.py": 14.1,
    "hosts/excel_workbook.py": 14.2,
    "hosts/doctor_facts.py": 14.5,
    "hosts/doctor.py": 14.6,
    "hosts/server_certificate.py": 14.2,
    "hosts/web_addin.py": 14.2,
    "hosts/server_app.py": 14.3,
    "hosts/server_running.py": 14.4,
    "server_command.py": 14.8,
    "addin_command.py": 14.8,
    "command_line.py": 15,
}
FILES = sorted(path.relative_to(PACKAGE).as_posix() for path in PACKAGE.rglob("*.py"))
ONLY_IN = {"openpyxl": 13, "xlsxwriter": 13, "xlwings": 14, "uno": 14}
FORBIDDEN_NAMES = {"utils.py", "helpers.py", "common.py", "base.py"}


def rank(file: str) -> float:
    """The rank of a file: its own row, or that of its folder."""
    if file in RANKS:
        return RANKS[file]
    folder = file.rsplit("/", 1)[0] + "/"
    assert folder in RANKS, f"{file} has no rank; give it a row in tests/test_ranks.py"
    return RANKS[folder]


def imports(file: str) -> set[str]:
    """Every module a file imports, at the top or inside a function."""
    found: set[str] = set()
    for node in ast.walk(ast.parse((PACKAGE / file).read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{file} imports by a relative name"
            found |= {node.module} | {f"{node.module}.{alias.name}" for alias in node.names}
    return found


def file_of(module: str) -> str | None:
    """The file of one of our modules, or None for what is not a module."""
    path = module.removeprefix("drenchbook").lstrip(".").replace(".", "/")
    for candidate in (f"{path}.py", f"{path}/__init__.py".lstrip("/")):
        if candidate in FILES:
            return candidate
    return None


@pytest.mark.parametrize("file", FILES)
def test_a_file_imports_only_from_a_smaller_rank(file):
    for module in imports(file):
        if module.split(".")[0] != "drenchbook":
            continue
        other = file_of(module)
        if other is None or other == "__init__.py" or other.endswith("/__init__.py"):
            continue
        same_folder = file.startswith("workbook/") and other.startswith("workbook/")
        if not same_folder:
            assert rank(other) < rank(file), f"{file} (rank {rank(file)}) imports {other} (rank {rank(other)})"


def test_the_rooms_of_the_workbook_folder_do_not_import_in_a_ring():
    rooms = [file for file in FILES if file.startswith("workbook/")]
    above = {file: {file_of(module) for module in imports(file)} & set(rooms) - {file} for file in rooms}
    done: set[str] = set()
    while len(done) < len(rooms):
        free = {file for file in rooms if file not in done and above[file] <= done}
        assert free, f"a ring among {sorted(set(rooms) - done)}"
        done |= free


@pytest.mark.parametrize("file", FILES)
def test_spreadsheet_libraries_stay_in_their_ranks(file):
    for module in imports(file):
        least = ONLY_IN.get(module.split(".")[0])
        assert least is None or rank(file) >= least, f"{file} imports {module}"


def test_names_say_what_is_inside():
    assert not FORBIDDEN_NAMES & {file.rsplit("/", 1)[-1] for file in FILES}
