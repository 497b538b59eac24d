"""What every part is made of: measures, poses, frames, ports, holes, threads, and drawing."""
