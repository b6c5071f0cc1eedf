"""Print every figure beside what it is compared with.

    python -m tests.benchmarks [--only NAME] [--file MESH]

NAME is poses, features, columns, shell, winner, shop, pictures, strength, variants or fleet. A MESH is
measured beside the meshes made in code.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator

Row = tuple[str, str, str]


def poses(file: str) -> Iterator[Row]:
    from tests.benchmarks.poses import in_a_child

    wanted = {"3500": "≤ 1 s", "84000": "≤ 2.5 s", "1300000": "≤ 45 s, ≤ 1.2 GB"}
    for source in [*wanted, *([file] if file else [])]:
        got = in_a_child(source)
        yield (
            f"1,000 poses, all measures, {got['faces']:,} faces",
            f"{got['measure_s']:.2f} s ({got['processor_s']:.2f} s of processor), "
            f"peak {got['peak_gb']:.2f} GB (read in {got['read_s']:.2f} s)",
            wanted.get(source, ""),
        )


def features(file: str) -> Iterator[Row]:
    from tests.benchmarks.inspected import in_a_child

    wanted = {"84000": "≤ 4 s, ≤ 0.5 s a pose", "1300000": "≤ 30 s, ≤ 2 GB"}
    for source in [*wanted, *([file] if file else [])]:
        got = in_a_child(source)
        yield (
            f"hard features of every kind, {got['faces']:,} faces",
            f"{got['shape_s']:.2f} s once, {got['pose_s']:.2f} s a pose ({got['processor_s']:.1f} s of "
            f"processor with five poses), peak {got['peak_gb']:.2f} GB",
            wanted.get(source, ""),
        )


def columns(file: str) -> Iterator[Row]:
    import orient
    from tests.benchmarks import columns as kernel
    from tests.benchmarks.meshes import bracket

    parts = [kernel.part_of(bracket(84_000))]
    if file:
        parts.append(orient.load(file, together=True))
    for part in parts:
        one = kernel.against_one_product(part)
        yield (
            f"columns of one pose, two threads, {len(part.faces):,} faces, {one['vertices']:,} vertices",
            f"{one['two']:.3f} ms = {one['two'] / one['product']:.2f} × V @ R.T ({one['product']:.3f} ms); "
            f"one thread {one['one']:.3f} ms",
            "≤ 4 ×",
        )
    rays = kernel.against_rays(kernel.part_of(bracket(50_000)))
    yield (
        "columns against Embree rays from overhang faces, 50 k faces",
        f"{rays['ratio']:.1f} × faster ({rays['columns_ms']:.2f} against {rays['rays_ms']:.2f} ms), "
        f"volumes {rays['apart_mean']:.2%} apart on average, {rays['apart_max']:.2%} at most",
        "≥ 3 ×, ≤ 1 %",
    )
    size = kernel.at_published_size(kernel.part_of(bracket(419_798)))
    yield (
        f"{size['faces']:,} faces, one direction",
        f"{size['ms_a_pose']:.2f} ms, {1 - size['apart_mean']:.2%} of a 10 × finer grid on average, "
        f"{1 - size['apart_max']:.2%} at worst",
        "≤ 15 ms, > 99 % (published: 1.86 s on a 2006 GPU, Khardekar & McMains, IDETC-CIE 2006)",
    )


def shell(file: str) -> Iterator[Row]:
    from tests.benchmarks import shell as command

    yield "orient --help", f"{command.help_s():.2f} s", "≤ 0.4 s"
    first, whole, processor = command.rank_s(file)
    yield (
        f"orient rank on {file or '84 k faces'}, cold process",
        f"{whole:.2f} s, {processor:.2f} s of processor (first line {first:.2f} s)",
        "≤ 6 s (≤ 0.5 s)",
    )
    first, whole, processor = command.first_run_s()
    yield (
        "first run ever, kernels compiling",
        f"{whole:.2f} s, {processor:.2f} s of processor (first line {first:.2f} s)",
        "≤ 15 s",
    )


def winner(file: str) -> Iterator[Row]:
    from tests.benchmarks import winner as search

    for path in search.samples():
        best, brute = search.best_and_brute(path)
        yield (
            f"best total penalty, {path.stem}",
            f"{best:.5f}, {'no worse' if best <= brute else 'WORSE'}",
            f"brute force over {search.BRUTE:,} directions: {brute:.5f}",
        )


def shop(file: str) -> Iterator[Row]:
    from tests.benchmarks import shop as costs

    plain, priced = costs.by_cost(file)
    yield (
        f"orient rank --by cost with prices and machine on {file or '84 k faces'}, cold process",
        f"{priced:.2f} s of processor, {priced / plain - 1:+.1%} of a plain ranking's {plain:.2f} s",
        "≤ +5 %",
    )
    for name, model, summed in costs.toolpaths():
        yield (
            f"build time of a {name}",
            f"{model:.3f} h, {model / summed - 1:+.1%}",
            f"{summed:.3f} h of toolpath summed line by line, ± 15 %",
        )


def pictures(file: str) -> Iterator[Row]:
    from tests.benchmarks import pictures as shown

    for name, seconds, megabytes in shown.drawn(file):
        limit = "≤ 10 s, ≤ 6 MB" if name == "page" else "≤ 1.5 s"
        yield f"{name} of {file or '84 k faces'}", f"{seconds:.2f} s, {megabytes:.2f} MB", limit


def strength(file: str) -> Iterator[Row]:
    from tests.benchmarks import strength as loads

    whole = loads.whole_run()
    yield (
        f"orient strength, {whole['cells']:,} cells, three cases, {whole['poses']:,} poses, cold process",
        f"{whole['seconds']:.1f} s ({whole['processor_s']:.1f} s of processor), "
        f"peak {whole['peak_gb']:.2f} GB (first line {whole['first_s']:.2f} s)",
        "≤ 40 s, ≤ 2 GB (≤ 0.5 s)",
    )
    judged = loads.in_a_child("judging", 100_000)
    yield (
        "of it 1,000 poses judged from 100 k cells and three cases: robust, low, high and raw",
        f"{judged['judge_s']:.2f} s, and {judged['sort_s']:.2f} s to sort the stress once",
        "≤ 1.5 s",
    )
    large = loads.in_a_child("large", 340_000)
    yield (
        f"one case on {large['cells']:,} cells, {large['unknowns']:,} unknowns",
        f"{large['seconds']:.1f} s, {large['iterations']} iterations, peak {large['peak_gb']:.2f} GB",
        "≤ 120 s",
    )
    for name, cells, count in loads.iterations():
        yield (
            f"iterations to a residual of 1e-6, {name}, " + ", ".join(f"{n:,}" for n in cells) + " cells",
            ", ".join(map(str, count)),
            "≤ 50, flat",
        )


def variants(file: str) -> Iterator[Row]:
    from tests.benchmarks.variants import one_and_two

    got = one_and_two(84_000)
    yield (
        f"comparing two variants of {got['faces']:,} faces, over ranking and inspecting one",
        f"{got['two_s']:.2f} s / {got['one_s']:.2f} s = {got['ratio']:.2f} "
        f"({got['busy_ratio']:.2f} in time of processor)",
        "≤ 2.2",
    )


def fleet(file: str) -> Iterator[Row]:
    from tests.benchmarks import fleet as folders

    beside = folders.beside()
    yield (
        "orient fleet, what a part costs beside its evaluation, starting the workers left out",
        f"{1e3 * beside['a_part']:.1f} ms",
        "≤ 30 ms",
    )
    yield (
        "memory of its client, 100 and 400 parts",
        f"{beside['few'] / 2**20:.0f} and {beside['many'] / 2**20:.0f} MB",
        "flat in the number of parts",
    )
    got = folders.two_against_one()
    yield (
        "200 mixed parts of 1 k to 100 k faces, two workers against one, a thread each",
        f"{got['one']:.1f} s / {got['two']:.1f} s = {got['ratio']:.2f} "
        f"({3600 * 200 / got['one']:,.0f} parts an hour and core)",
        "≥ 1.8",
    )


def main() -> None:
    """Run the sections asked for."""
    sections = {
        "poses": poses,
        "features": features,
        "columns": columns,
        "shell": shell,
        "winner": winner,
        "shop": shop,
        "pictures": pictures,
        "strength": strength,
        "variants": variants,
        "fleet": fleet,
    }
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks", description=__doc__)
    parser.add_argument("--only", choices=sections, help="one section")
    parser.add_argument("--file", default="", help="a mesh of your own, measured as well")
    asked = parser.parse_args()
    for name, section in sections.items():
        if asked.only in (None, name):
            for what, figure, beside in section(asked.file):
                print(
                    f"{what}\n    {figure}\n    against {beside}" if beside else f"{what}\n    {figure}",
                    flush=True,
                )


if __name__ == "__main__":
    main()
