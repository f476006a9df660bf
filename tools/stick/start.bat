@echo off
rem Starts Pinproof: shows the demonstration the first time, then leaves a prompt where `pinproof` is known.
title Pinproof
chcp 65001 >nul
set "PATH=%~dp0env\Scripts;%PATH%"
if not exist "%~dp0env\Scripts\pinproof.exe" goto missing
if not exist "%~dp0designs" mkdir "%~dp0designs"
pushd "%~dp0designs"
if exist pinproof-demo goto ready
pinproof demo
:ready
echo.
echo You are in the folder "designs". Type one of these and press Enter:
echo     pinproof new truck.toml      begin your own truck
echo     pinproof next truck.toml     what to do now
echo     pinproof --help              all commands
echo     start pinproof-demo          open the folder with the demonstration's report
echo.
cmd /k
exit /b 0

:missing
echo Pinproof is not installed here any more. Double-click install-windows.bat on the stick again.
pause
exit /b 2
