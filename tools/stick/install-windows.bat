@echo off
rem Installs Pinproof from this folder. No network is used.
setlocal
title Install Pinproof
rem A Python that is missing must not be fetched behind our back.
set "PYTHON_MANAGER_AUTOMATIC_INSTALL=false"
set "PYTHON_COMMAND="
set "PROBE=import sys; sys.exit(sys.version_info[:2] not in [@PROBED@])"
for %%V in (@NEWEST_FIRST@) do call :try py -%%V
call :try python
if not defined PYTHON_COMMAND goto no_python
%PYTHON_COMMAND% "%~dp0files\install.py" %*
set "RESULT=%ERRORLEVEL%"
echo.
pause
exit /b %RESULT%

:try
if defined PYTHON_COMMAND goto :eof
%* -c "%PROBE%" >nul 2>nul
if not errorlevel 1 set "PYTHON_COMMAND=%*"
goto :eof

:no_python
echo No Python @SPOKEN@ was found on this computer.
echo.
echo 1. If the folder python-installer on this stick holds an installer, double-click it.
echo    Keep its box for the launcher "py" ticked. Then double-click install-windows.bat again.
echo 2. If that folder is empty: on a computer with a network go to python.org, Downloads, Windows,
echo    take "Windows installer (64-bit)" of Python @TAKE@ and put the file into that folder.
echo.
pause
exit /b 2
