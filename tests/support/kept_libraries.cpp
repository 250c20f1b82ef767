// For the leak check only, linked into every program of its build (tests/CMakeLists.txt): libraries that GLFW and OpenGL load while they run stay loaded to
// the end. What such a library keeps in its own variables would look like a leak, of a module without a name, once it is gone (LeakSanitizer looks at the end).
extern "C" int dlclose(void*) noexcept { return 0; }
