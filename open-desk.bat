@echo off
rem Opens Tercet's desk, where songs are written and heard. Double-click this file.
rem The first time it sets Tercet up in the folder .venv beside it: a minute or two, with a connection to the internet.
rem Nothing else on this computer is changed. Your songs lie in the folder Tercet of your documents.
cd /d "%~dp0"
set "PYTHON="
where py >nul 2>nul && set "PYTHON=py -3"
if not defined PYTHON where python >nul 2>nul && set "PYTHON=python"
if not defined PYTHON (
    echo No Python was found. Install Python 3.11 or newer, then open this file again.
    pause
    exit /b 3
)
%PYTHON% tools\set_up.py run
if errorlevel 1 (
    echo Tercet couldn't be set up: the lines above say why.
    pause
    exit /b 3
)
.venv\Scripts\tercet.exe desk %*
if errorlevel 1 pause
