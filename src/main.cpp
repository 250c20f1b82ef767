#include "cli/cli.h"
#include "uroko/gui/window.h"

int main(int argc, char** argv) { return uroko::cli::run(argc, argv, uroko::gui::open_window); }
