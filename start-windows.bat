@echo off
rem Double-click: sets Pinproof up the first time (needs a network once), shows the demonstration, leaves a prompt.
title Pinproof
chcp 65001 >nul
pushd "%~dp0"
set "PYTHON_COMMAND="
call :try py -3
call :try python
if not defined PYTHON_COMMAND goto no_python
%PYTHON_COMMAND% dev.py demo
if errorlevel 2 goto failed
set "PATH=%~dp0.venv\Scripts;%PATH%"
echo.
echo Type one of these and press Enter:
echo     pinproof new truck.toml      begin your own truck
echo     pinproof next truck.toml     what to do now
echo     pinproof --help              all commands
echo     start pinproof-demo          open the folder with the demonstration's report
echo.
cmd /k
exit /b 0

:try
if defined PYTHON_COMMAND goto :eof
%* -c "import sys; sys.exit(sys.version_info < (3, 11))" >nul 2>nul
if not errorlevel 1 set "PYTHON_COMMAND=%*"
goto :eof

:no_python
echo No Python 3.11 or newer was found on this computer.
echo Get "Windows installer (64-bit)" of Python 3.13 from python.org, run it with its box for the
echo launcher "py" ticked, then double-click start-windows.bat again.
echo.
pause
exit /b 2

:failed
echo.
echo That did not work. The lines above say why; docs\install.md says what to do.
echo.
pause
exit /b 2
