#!/bin/sh
# Pins every version with its hashes, without writing down where packages come from.
# Needs `uv`. Run it after a change of dependencies in pyproject.toml, then run the tests.
set -eu
cd "$(dirname "$0")/.."
drop="--no-emit-package matplotlib --no-emit-package pydot --no-emit-package scikit-learn"
drop="$drop --no-emit-package contourpy --no-emit-package cycler --no-emit-package fonttools"
drop="$drop --no-emit-package kiwisolver --no-emit-package pyparsing --no-emit-package joblib"
drop="$drop --no-emit-package threadpoolctl --no-emit-package narwhals"
dates="--no-emit-package python-dateutil --no-emit-package six"  # the reader of MDF files needs them
flags="--generate-hashes --universal --no-header --no-annotate --python-version 3.11 --quiet"
# shellcheck disable=SC2086
uv pip compile pyproject.toml requirements/build.in --extra paper $drop $dates $flags -o requirements/run.txt
# shellcheck disable=SC2086
uv pip compile pyproject.toml requirements/build.in --extra paper --extra dev $drop $flags -o requirements/dev.txt
